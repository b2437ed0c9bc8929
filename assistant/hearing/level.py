"""Is the microphone alive, too quiet, or overdriven?"""

from __future__ import annotations

import numpy as np

from .frames import RATE_HZ

CLIPPED = 32_700
DEAD_S = 5.0


class LevelMeter:
    """Running figures of the raw sound: peak, share of clipped samples, time without any signal at all."""

    def __init__(self) -> None:
        self.samples = 0
        self.clipped = 0
        self.peak = 0
        self.dead_s = 0.0
        self._energy = 0.0

    def push(self, samples: np.ndarray) -> None:
        if len(samples) == 0:
            return
        wide = np.abs(samples.astype(np.int32))
        top = int(wide.max())
        self.samples += len(samples)
        self.peak = max(self.peak, top)
        if top >= CLIPPED:
            self.clipped += int((wide >= CLIPPED).sum())
        self.dead_s = self.dead_s + len(samples) / RATE_HZ if top <= 1 else 0.0
        self._energy += float((wide.astype(np.float64) ** 2).sum())

    @property
    def rms(self) -> float:
        return (self._energy / self.samples) ** 0.5 if self.samples else 0.0

    def warnings(self) -> list[str]:
        """What is wrong with the level, in plain words; empty when nothing is."""
        found = []
        if self.dead_s >= DEAD_S:
            found.append("The microphone gives no sound at all. Check its switch and cable.")
        if self.samples and self.clipped / self.samples > 0.001:
            found.append("The microphone is overdriven. Turn its level down or move it away from the mouth.")
        return found
