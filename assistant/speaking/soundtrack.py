"""Several sounds on one time line, sample by sample, streamed to a WAV file with memory that stays flat."""

from __future__ import annotations

import wave
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from assistant.speaking.sink import FADE_S, check_mono, faded_tail
from assistant.speaking.voice import CLIP_RATE_HZ
from assistant.speaking.wav_writer import WavWriter

ASSISTANT = 0
"""Left channel: the assistant's lines and chimes."""
TECHNICIAN = 1
"""Right channel: the technician and the room."""

BLOCK_S = 1.0  # written in pieces of at most this length


@dataclass(eq=False)
class Placed:
    """One sound on the line; positions in samples from the line's start, `end` exclusive."""

    start: int
    samples: np.ndarray
    channel: int

    @property
    def end(self) -> int:
        return self.start + len(self.samples)


class Soundtrack:
    """A WAV file being written: 16-bit, `channels` channels. Sounds may be placed and cut only ahead of
    what is written; `advance_to` writes.

    The header on disk is right after every block, so that a run that ends hard leaves a readable file.
    Raises StorageError when the file can't be made or written.
    """

    def __init__(self, path: Path | str, rate_hz: int = CLIP_RATE_HZ, channels: int = 2) -> None:
        self.path = Path(path)
        self.rate_hz = rate_hz
        self.channels = channels
        self._placed: list[Placed] = []
        self._written = 0
        self._closed = False
        self._file = WavWriter(self.path, rate_hz, channels)

    @property
    def written_s(self) -> float:
        """Seconds on disk: nothing before this can be changed."""
        return self._written / self.rate_hz

    @property
    def closed(self) -> bool:
        """True once the file is finished; nothing more can be placed."""
        return self._closed

    @property
    def end_s(self) -> float:
        """Where the last placed sound ends."""
        return max([self._written, *(p.end for p in self._placed)]) / self.rate_hz

    def place(self, samples: np.ndarray, start_s: float, channel: int = ASSISTANT) -> Placed:
        """Put int16 mono samples (at the line's rate) at `start_s`, to the nearest sample.

        Raises ValueError for a place already written, a channel that isn't there or another kind of samples.
        """
        check_mono(samples, self.rate_hz)
        if not 0 <= channel < self.channels:
            raise ValueError(f"channel {channel} isn't there: 0 to {self.channels - 1}")
        start = round(start_s * self.rate_hz)
        if start < self._written or self._closed:
            raise ValueError(f"{start_s:.4f} s is already written (up to {self.written_s:.4f} s)")
        placed = Placed(start, samples, channel)
        if len(samples):
            self._placed.append(placed)
        return placed

    def cut(self, placed: Placed, at_s: float) -> float:
        """End a sound at `at_s` with a short fade; returns where it really ends in seconds.

        What is already written stays; a sound that hasn't begun is taken off.
        """
        at = max(round(at_s * self.rate_hz), self._written)
        if at >= placed.end:
            return placed.end / self.rate_hz
        if at <= placed.start:
            placed.samples = placed.samples[:0]
        else:
            fade_end = min(placed.end, at + int(FADE_S * self.rate_hz))
            kept = placed.samples[: fade_end - placed.start]
            written = max(0, self._written - placed.start)
            placed.samples = np.concatenate([kept[:written], faded_tail(kept[written:], self.rate_hz)])
        if placed.end <= self._written and placed in self._placed:
            self._placed.remove(placed)
        return max(placed.end, placed.start) / self.rate_hz

    def advance_to(self, t_s: float) -> None:
        """Write everything up to `t_s` (silence where there is no sound); an earlier time does nothing."""
        target = round(t_s * self.rate_hz)
        if self._closed and target > self._written:
            raise ValueError("the time line is closed")
        block = int(BLOCK_S * self.rate_hz)
        while self._written < target:
            stop = min(target, self._written + block)
            self._file.write(self._mix(self._written, stop).tobytes())
            self._written = stop
            self._placed = [p for p in self._placed if p.end > stop]

    def close(self) -> Path:
        """Write what is still placed and finish the file; returns its path."""
        if not self._closed:
            try:
                self.advance_to(self.end_s)
            finally:
                self._closed = True
                self._file.close()
        return self.path

    def _mix(self, start: int, stop: int) -> np.ndarray:
        """Saturating sum of all sounds in [start, stop): int16, shape (stop - start, channels)."""
        total = np.zeros((stop - start, self.channels), dtype=np.int32)
        for placed in self._placed:
            a, b = max(start, placed.start), min(stop, placed.end)
            if a < b:
                total[a - start : b - start, placed.channel] += placed.samples[
                    a - placed.start : b - placed.start
                ]
        return np.clip(total, -32768, 32767).astype("<i2")


def mono(source: Path | str, target: Path | str) -> Path:
    """Mix a WAV file's channels to one (saturating sum), block by block; returns the new file's path."""
    with wave.open(str(source), "rb") as reading:
        channels, rate_hz = reading.getnchannels(), reading.getframerate()
        line = Soundtrack(target, rate_hz, channels=1)
        at = 0
        while data := reading.readframes(int(BLOCK_S * rate_hz)):
            frames = np.frombuffer(data, dtype="<i2").reshape(-1, channels)
            for channel in range(channels):
                line.place(np.ascontiguousarray(frames[:, channel]), at / rate_hz)
            at += len(frames)
            line.advance_to(at / rate_hz)
    return line.close()
