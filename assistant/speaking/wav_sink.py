"""A sink that writes what it plays into a WAV file, at the sample where it belongs."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from assistant.speaking.silent_sink import MediaHandle, SilentSink
from assistant.speaking.soundtrack import ASSISTANT, Placed, Soundtrack


class _WavHandle(MediaHandle):
    def __init__(self, sink: WavSink, start_s: float, duration_s: float, placed: Placed) -> None:
        super().__init__(sink, start_s, duration_s)
        self._line = sink.soundtrack
        self._placed = placed

    def _cut(self, at_s: float) -> float:
        return self._line.cut(self._placed, at_s)


class WavSink(SilentSink):
    """`Sink` on a media clock and a time line.

    `target`: a path (a mono file of its own) or a shared `Soundtrack`, of which this sink plays on one
    `channel` and which its owner closes. `advance_to` moves the clock and writes up to it; `close`
    finishes an own file.
    """

    def __init__(self, target: Path | str | Soundtrack, *, channel: int = ASSISTANT) -> None:
        self._owns = not isinstance(target, Soundtrack)
        self.soundtrack = target if isinstance(target, Soundtrack) else Soundtrack(target, channels=1)
        self._channel = channel
        super().__init__(self.soundtrack.rate_hz)

    def advance_to(self, t_s: float) -> None:
        super().advance_to(t_s)
        self.soundtrack.advance_to(t_s)

    def describe(self) -> dict[str, object]:
        return {"sink": "wav", "file": self.soundtrack.path.name, "rate_hz": self.rate_hz, "latency_s": 0.0}

    def close(self) -> None:
        if self._owns:
            self.soundtrack.close()

    def _place(self, samples: np.ndarray, start_s: float) -> MediaHandle:
        start_s = max(start_s, self.soundtrack.written_s)
        placed = self.soundtrack.place(samples, start_s, self._channel)
        return _WavHandle(self, start_s, len(samples) / self.rate_hz, placed)
