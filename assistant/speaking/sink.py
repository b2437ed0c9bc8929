"""The port through which sound leaves: play, know when it starts and ends, stop at once."""

from __future__ import annotations

from typing import Protocol

import numpy as np

FADE_S = 0.005
"""A sound that is stopped fades for this long, so that it doesn't click; well inside the 50 ms allowed."""


class PlayHandle(Protocol):
    """One sound on its way. Times are seconds on the sink's own clock (`Sink.now_s`)."""

    @property
    def start_s(self) -> float:
        """When the first sample is heard (planned until then)."""
        ...

    @property
    def end_s(self) -> float:
        """When the last sample is heard: planned, or where it was cut."""
        ...

    @property
    def interrupted(self) -> bool:
        """True when it was stopped, or its device was lost, before its planned end."""
        ...

    def stop(self, at_s: float | None = None) -> None:
        """Silence it within 50 ms of `at_s` (None: now). After the end, or twice: nothing happens."""
        ...

    def done(self) -> bool:
        """True once nothing of it will sound any more."""
        ...


class Sink(Protocol):
    """Plays int16 mono sounds; several at once are added, never wrapped around."""

    def play(self, samples: np.ndarray, rate_hz: int, start_s: float | None = None) -> PlayHandle:
        """Play `samples` (int16, shape (n,)) at `start_s` on the sink's clock; None or a past time: now.

        A rate other than the sink's is resampled. Raises ValueError for a rate that isn't positive or samples
        that aren't int16 mono; SoundDeviceError when the device is gone; StorageError when a file can't be
        written.
        """
        ...

    def now_s(self) -> float:
        """The sink's clock."""
        ...

    def stop_all(self) -> None:
        """Stop every sound, started or waiting."""
        ...

    def describe(self) -> dict[str, object]:
        """What is playing, for the record: sink, device or file, rate_hz, latency_s; JSON values only."""
        ...

    def close(self) -> None:
        """Finish: files are complete, devices free. Harmless twice."""
        ...


def faded_tail(samples: np.ndarray, rate_hz: int) -> np.ndarray:
    """`samples` with its last FADE_S brought to zero (a copy)."""
    out = samples.copy()
    n = min(len(out), int(FADE_S * rate_hz))
    if n:
        ramp = np.linspace(1.0, 0.0, n, endpoint=True)
        out[-n:] = np.round(out[-n:] * ramp).astype(np.int16)
    return out


def check_mono(samples: np.ndarray, rate_hz: int) -> None:
    """Raises ValueError for anything that isn't int16 mono at a positive rate."""
    if rate_hz <= 0:
        raise ValueError(f"rate must be positive, not {rate_hz} Hz")
    if samples.dtype != np.int16 or samples.ndim != 1:
        raise ValueError(f"expected int16 mono, got {samples.dtype} of shape {samples.shape}")
