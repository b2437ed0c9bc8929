"""The live session's way out: a headset that may be unplugged. What can't sound counts as cut short, never as said."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from assistant.errors import SoundDeviceError
from assistant.speaking.sink import PlayHandle, Sink

_RETRY_S = 1.0


@dataclass(frozen=True, slots=True)
class _Unheard:
    """A sound that no device took."""

    start_s: float
    interrupted: bool = True

    @property
    def end_s(self) -> float:
        return self.start_s

    def stop(self, at_s: float | None = None) -> None:
        return None

    def done(self) -> bool:
        return True


class Speaker:
    """`Sink` around a device that is opened again while it is gone. `open_device` opens a `HeadsetSink`, or one
    shaped like it. Raises SoundDeviceError when it can't be opened at first."""

    def __init__(self, open_device: Callable[[], Any], clock: Callable[[], float] = time.monotonic) -> None:
        self._open_device = open_device
        self._clock = clock
        self._last: Sink = open_device()
        self._sink: Sink | None = self._last
        self._told = self._last.describe()
        self._retry_s = 0.0

    @property
    def latency_s(self) -> float:
        """Of the device that is, or was, open."""
        return float(getattr(self._last, "latency_s", 0.0))

    def lost(self) -> bool:
        """Whether the device is gone now; looks for it again now and then."""
        gone = getattr(self._sink, "lost", None)
        if self._sink is not None and gone is not None and gone():
            self._drop()
        if self._sink is None and self._clock() >= self._retry_s:
            self._retry_s = self._clock() + _RETRY_S
            try:
                self._sink = self._last = self._open_device()
            except SoundDeviceError:
                self._sink = None
        return self._sink is None

    def play(self, samples: np.ndarray, rate_hz: int, start_s: float | None = None) -> PlayHandle:
        """As `Sink.play`; while the device is gone the sound counts as interrupted at once."""
        if self._sink is not None:
            try:
                return self._sink.play(samples, rate_hz, start_s)
            except SoundDeviceError:
                self._drop()
        return _Unheard(self.now_s())

    def _drop(self) -> None:
        if self._sink is not None:
            self._sink.close()
        self._sink, self._retry_s = None, self._clock() + _RETRY_S

    def now_s(self) -> float:
        return self._last.now_s()

    def stop_all(self) -> None:
        if self._sink is not None:
            self._sink.stop_all()

    def describe(self) -> dict[str, object]:
        return dict(self._told)

    def close(self) -> None:
        if self._sink is not None:
            self._sink.close()
