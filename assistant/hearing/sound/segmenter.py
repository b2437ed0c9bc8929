"""Where an utterance starts and ends: the same for every engine, on measured noise, at any block size."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from assistant.hearing.sound.frames import HOP_S, band_matrix
from assistant.hearing.sound.noise_floor import LEARN_FRAMES, NoiseFloor

BANDS = 16
LOUDEST = 4
SMOOTH_FRAMES = 5
OFF_PART, OFF_MOST_DB = 0.28, 4.5   # after a loud word a swell of the fan isn't its continuation
LEAST_POWER = 900.0   # per bin: a sound this weak (about RMS 2 of 32768) is no one speaking into a headset


@dataclass(frozen=True)
class Limits:
    """What counts as sound and as its end.

    `on_db`, `off_db`: excess over the noise floor, mean of the loudest quarter of the bands. `end_silence_s`:
    trailing quiet that ends an utterance. `longest_s`: beyond this it can't be a command and isn't decoded any further.
    """

    on_db: float = 3.5
    off_db: float = 3.0
    start_frames: int = 6
    end_silence_s: float = 0.25
    maybe_silence_s: float = 0.11
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
    """Feed frame powers one by one; `step` says None, "start", "in", "maybe" (it may have ended) or "end"."""

    def __init__(self, limits: Limits | None = None) -> None:
        self.limits = limits or Limits()
        self.floor = NoiseFloor()
        self.span: Span | None = None
        self._bands = band_matrix(bands=BANDS)
        self._smooth = 0.0
        self._band_ring = np.zeros((SMOOTH_FRAMES, BANDS))
        self._band_sum = np.zeros(BANDS)
        self._at = 0
        self._run = 0
        self._run_start = 0
        self._frame = -1

    @property
    def frame(self) -> int:
        return self._frame

    @property
    def excess(self) -> float:
        """The newest `excess_db`."""
        return self._smooth

    def excess_db(self, power: np.ndarray) -> float:
        """How far the last 40 ms stand above the noise floor: mean of the loudest quarter of bands, 0 to 25 dB.

        A voice under a fan lives in a few bands; the mean over all of them missed one quiet voice in five at 15 dB.
        """
        self._band_sum -= self._band_ring[self._at]
        band = power @ self._bands
        self._band_ring[self._at] = band
        self._band_sum += band
        self._at = (self._at + 1) % SMOOTH_FRAMES
        ratio = (self._band_sum / SMOOTH_FRAMES + LEAST_POWER) / (self.floor.power @ self._bands + LEAST_POWER)
        ratio.partition(BANDS - LOUDEST)
        over = 10.0 * np.log10(ratio[BANDS - LOUDEST:])
        return float(min(25.0, max(0.0, over.mean())))

    def step(self, power: np.ndarray) -> str | None:
        self._frame += 1
        self._smooth = self.excess_db(power)
        if self.floor.learnt < LEARN_FRAMES and self.span is None and self._run == 0:
            if self.floor.learnt < 8 or self._smooth < 2 * self.limits.on_db:
                self.floor.quiet(power)
                return None
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
        if self._smooth >= max(self.limits.off_db, min(OFF_MOST_DB, OFF_PART * span.peak_db)):
            span.last_loud = self._frame
            span.loud_frames += 1
        if (self._frame - span.last_loud) * HOP_S >= self.limits.end_silence_s:
            span.end = self._frame
            return "end"
        if self._frame - span.last_loud == int(self.limits.maybe_silence_s / HOP_S):
            return "maybe"
        return "in"

    def close(self) -> Span | None:
        """Take the open or just-ended utterance away."""
        span, self.span = self.span, None
        self._run = 0
        return span
