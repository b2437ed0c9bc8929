"""Where an utterance starts and ends: the same for every engine, on measured noise, at any block size."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from .frames import HOP_S, band_matrix
from .noise_floor import LEARN_FRAMES, NoiseFloor


@dataclass(frozen=True)
class Limits:
    """What counts as sound and as its end.

    `on_db`, `off_db`: mean excess over the noise floor across bands. `end_silence_s`: trailing quiet that ends
    an utterance. `longest_s`: beyond this it can't be a command and isn't decoded any further.
    """

    on_db: float = 3.6
    off_db: float = 2.6
    start_frames: int = 6
    end_silence_s: float = 0.25
    pre_roll_s: float = 0.25
    longest_s: float = 4.0


@dataclass
class Span:
    """An utterance in frames: `start` backdated by nothing, `last_loud` the last frame above `off_db`."""

    start: int
    last_loud: int
    end: int | None = None
    peak_db: float = 0.0
    loud_frames: int = 0
    relearnt: bool = field(default=False)

    @property
    def loud_s(self) -> float:
        return (self.last_loud - self.start + 1) * HOP_S


class Segmenter:
    """Feed frame powers one by one; `step` says None, "start", "in" or "end"."""

    def __init__(self, limits: Limits | None = None) -> None:
        self.limits = limits or Limits()
        self.floor = NoiseFloor()
        self.span: Span | None = None
        self._bands = band_matrix()
        self._smooth = 0.0
        self._run = 0
        self._run_start = 0
        self._frame = -1

    @property
    def frame(self) -> int:
        return self._frame

    def excess_db(self, power: np.ndarray) -> float:
        """Mean over bands of how far this frame stands above the noise floor, each band 0 to 25 dB."""
        band = power @ self._bands
        noise = self.floor.power @ self._bands
        over = 10.0 * np.log10((band + 4.0) / (noise + 4.0))
        return float(np.clip(over, 0.0, 25.0).mean())

    def step(self, power: np.ndarray) -> str | None:
        self._frame += 1
        if self.floor.learnt < LEARN_FRAMES and self.span is None and self._run == 0:
            if self.floor.learnt < 4 or self.excess_db(power) < 2 * self.limits.on_db:
                self.floor.quiet(power)
                return None
        excess = self.excess_db(power)
        self._smooth = 0.5 * self._smooth + 0.5 * excess
        if self.span is None:
            return self._idle(power)
        return self._open(power)

    def _idle(self, power: np.ndarray) -> str | None:
        if self._smooth < self.limits.on_db:
            self._run = 0
            self.floor.quiet(power)
            return None
        if self._run == 0:
            self._run_start = self._frame
        self._run += 1
        if self._run < self.limits.start_frames:
            return None
        self.span = Span(start=self._run_start, last_loud=self._frame, peak_db=self._smooth,
                         loud_frames=self._run)
        self._run = 0
        return "start"

    def _open(self, power: np.ndarray) -> str:
        span = self.span
        assert span is not None
        if self.floor.speech(power):
            span.relearnt = True
        span.peak_db = max(span.peak_db, self._smooth)
        if self._smooth >= self.limits.off_db:
            span.last_loud = self._frame
            span.loud_frames += 1
        if (self._frame - span.last_loud) * HOP_S >= self.limits.end_silence_s:
            span.end = self._frame
            return "end"
        return "in"

    def close(self) -> Span | None:
        """Take the open or just-ended utterance away."""
        span, self.span = self.span, None
        self._run = 0
        self._smooth = 0.0
        return span
