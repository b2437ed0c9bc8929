"""A sink that keeps time and makes no sound; its clock moves only when it is told to."""

from __future__ import annotations

import numpy as np

from assistant.speaking.resample import to_rate
from assistant.speaking.sink import FADE_S, check_mono
from assistant.speaking.voice import CLIP_RATE_HZ


class MediaHandle:
    """A sound on a clock that is moved by hand."""

    def __init__(self, sink: SilentSink, start_s: float, duration_s: float) -> None:
        self._sink = sink
        self._start_s = start_s
        self._end_s = start_s + duration_s
        self._interrupted = False

    @property
    def start_s(self) -> float:
        return self._start_s

    @property
    def end_s(self) -> float:
        return self._end_s

    @property
    def interrupted(self) -> bool:
        return self._interrupted

    def stop(self, at_s: float | None = None) -> None:
        at_s = self._sink.now_s() if at_s is None else max(at_s, self._sink.now_s())
        if at_s < self._end_s and not self._interrupted:
            self._interrupted = True
            self._end_s = self._cut(at_s)

    def done(self) -> bool:
        return self._sink.now_s() >= self._end_s

    def _cut(self, at_s: float) -> float:
        return self._start_s if at_s <= self._start_s else min(self._end_s, at_s + FADE_S)


class SilentSink:
    """`Sink` on a media clock: `advance_to` moves it. Used where sound isn't wanted, and in tests."""

    def __init__(self, rate_hz: int = CLIP_RATE_HZ) -> None:
        self.rate_hz = rate_hz
        self._now_s = 0.0
        self._handles: list[MediaHandle] = []

    def play(self, samples: np.ndarray, rate_hz: int, start_s: float | None = None) -> MediaHandle:
        check_mono(samples, rate_hz)
        samples = to_rate(samples, rate_hz, self.rate_hz)
        start_s = self._now_s if start_s is None else max(start_s, self._now_s)
        handle = self._place(samples, round(start_s * self.rate_hz) / self.rate_hz)
        self._handles = [h for h in self._handles if not h.done()] + [handle]
        return handle

    def now_s(self) -> float:
        return self._now_s

    def advance_to(self, t_s: float) -> None:
        """Move the clock to `t_s`; it never goes back (ValueError)."""
        if t_s < self._now_s:
            raise ValueError(f"the clock can't go back from {self._now_s} s to {t_s} s")
        self._now_s = t_s

    def stop_all(self) -> None:
        for handle in self._handles:
            handle.stop()

    def describe(self) -> dict[str, object]:
        return {"sink": "silent", "rate_hz": self.rate_hz, "latency_s": 0.0}

    def close(self) -> None:
        return None

    def _place(self, samples: np.ndarray, start_s: float) -> MediaHandle:
        return MediaHandle(self, start_s, len(samples) / self.rate_hz)
