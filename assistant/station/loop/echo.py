"""The assistant's own voice on its way back into the microphone, at a stated level."""

from __future__ import annotations

import numpy as np

from assistant.speaking.sink import PlayHandle, Sink


class EchoPath:
    """A sink that passes sound on and remembers it, so that it can leak at `level_db` (negative) into the
    microphone. Sounds are remembered as played, cut where they were cut."""

    def __init__(self, sink: Sink, level_db: float, rate_hz: int = 16_000) -> None:
        self._sink = sink
        self._gain = 10 ** (level_db / 20)
        self._rate_hz = rate_hz
        self._sounds: list[tuple[PlayHandle, np.ndarray]] = []

    def play(self, samples: np.ndarray, rate_hz: int, start_s: float | None = None) -> PlayHandle:
        handle = self._sink.play(samples, rate_hz, start_s)
        self._sounds.append((handle, samples))
        return handle

    def block(self, start_ms: int, samples: int) -> np.ndarray:
        """int32, shape (samples,): what leaks back from `start_ms` on."""
        first = start_ms * self._rate_hz // 1000
        out = np.zeros(samples, dtype=np.float64)
        keep = []
        for handle, sound in self._sounds:
            begin = round(handle.start_s * self._rate_hz)
            end = min(begin + len(sound), round(handle.end_s * self._rate_hz))
            if end > first:
                keep.append((handle, sound))
            low, high = max(begin, first), min(end, first + samples)
            if low < high:
                out[low - first : high - first] += sound[low - begin : high - begin]
        self._sounds = keep
        return (out * self._gain).astype(np.int32)

    def now_s(self) -> float:
        return self._sink.now_s()

    def stop_all(self) -> None:
        self._sink.stop_all()

    def describe(self) -> dict[str, object]:
        return {**self._sink.describe(), "echo_gain": round(self._gain, 4)}

    def close(self) -> None:
        self._sink.close()
