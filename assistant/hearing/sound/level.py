"""Is the microphone alive, too quiet, or overdriven?"""

from __future__ import annotations

import numpy as np

from assistant.hearing.sound.frames import RATE_HZ

CLIPPED = 32_700
DEAD_S = 5.0
WINDOW_S = 0.1
LOUD_PEAK = 3000.0          # of 32768: a window as loud as this holds speech or something like it
FLAT_RUN = 5                # samples in a row at the very top: no voice has that, a cut-off wave does
CLIPPED_WINDOWS = 0.02      # of the loud windows; common practice has no figure, a shout now and then is none of this
NO_SOUND = "The microphone gives no sound at all. Check its switch and cable."
OVERDRIVEN = "The microphone is overdriven: the loudest parts are cut off. Turn its level down or move it away from the mouth."


class LevelMeter:
    """Running figures of the raw sound: peak, share of clipped samples, stretches without any signal at all.

    Cut-off waves are found by their flat tops, so that one that was cut off before its level was turned down shows too.
    """

    def __init__(self) -> None:
        self.samples = 0
        self.clipped = 0
        self.peak = 0
        self.dead_s = 0.0
        self.longest_dead: tuple[float, float] = (0.0, 0.0)   # from, to, in seconds of sound
        self.loud_windows = 0
        self.flat_windows = 0
        self._energy = 0.0
        self._held = np.zeros(0, dtype=np.int32)

    def push(self, samples: np.ndarray) -> None:
        if len(samples) == 0:
            return
        signed = samples.astype(np.int32)
        wide = np.abs(signed)
        top = int(wide.max())
        self.samples += len(samples)
        self.peak = max(self.peak, top)
        if top >= CLIPPED:
            self.clipped += int((wide >= CLIPPED).sum())
        self._energy += float((wide.astype(np.float64) ** 2).sum())
        self._dead(wide)
        self._windows(signed)

    def _dead(self, wide: np.ndarray) -> None:
        live = np.flatnonzero(wide > 1)
        if len(live) == 0:
            self.dead_s += len(wide) / RATE_HZ
        else:
            self._note_dead(self.samples - len(wide) + int(live[0]), self.dead_s + int(live[0]) / RATE_HZ)
            self.dead_s = (len(wide) - 1 - int(live[-1])) / RATE_HZ
        self._note_dead(self.samples, self.dead_s)

    def _note_dead(self, end: int, seconds: float) -> None:
        if seconds > self.longest_dead[1] - self.longest_dead[0]:
            self.longest_dead = (end / RATE_HZ - seconds, end / RATE_HZ)

    def _windows(self, signed: np.ndarray) -> None:
        held = np.concatenate([self._held, signed])
        width = int(WINDOW_S * RATE_HZ)
        count = len(held) // width
        for window in held[: count * width].reshape(count, width):
            top = int(np.abs(window).max())
            if top >= LOUD_PEAK:
                self.loud_windows += 1
                self.flat_windows += flat_top(window, top)
        self._held = held[count * width:]

    @property
    def rms(self) -> float:
        return (self._energy / self.samples) ** 0.5 if self.samples else 0.0

    @property
    def dead(self) -> bool:
        """Nothing at all arrived, for long enough to be sure of it."""
        return self.peak <= 1 and self.dead_s >= DEAD_S

    @property
    def overdriven(self) -> bool:
        return self.flat_windows > max(1, CLIPPED_WINDOWS * self.loud_windows)

    def warnings(self) -> list[str]:
        """What is wrong with the level, in plain words; empty when nothing is."""
        found = []
        start, end = self.longest_dead
        if self.dead:
            found.append(NO_SOUND)
        elif end - start >= DEAD_S:
            still = "and stayed so" if self.dead_s >= DEAD_S else f"until {end:.1f} s"
            found.append(f"The microphone went silent altogether at {start:.1f} s {still}. Check its switch and cable.")
        if self.overdriven:
            found.append(OVERDRIVEN)
        return found


def flat_top(window: np.ndarray, top: int) -> bool:
    """Whether the wave stays at its highest or lowest value for FLAT_RUN samples: it was cut off."""
    slack = 1 + top // 2000
    for side in (window >= top - slack, window <= slack - top):
        run = np.convolve(side.astype(np.int8), np.ones(FLAT_RUN, dtype=np.int8), "valid")
        if int(run.max(initial=0)) >= FLAT_RUN:
            return True
    return False
