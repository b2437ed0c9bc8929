"""Sound from a headset through PortAudio. The library is imported only when a device is wanted."""

from __future__ import annotations

import queue
import time
from collections.abc import Iterator
from dataclasses import dataclass

from assistant.errors import SoundDeviceError

from .frames import RATE_HZ
from .source import BLOCK_SAMPLES

SILENT_FOR_S = 1.0       # no block for so long: the microphone is gone


@dataclass(frozen=True)
class Device:
    """One sound device as the system names it."""

    index: int
    name: str
    inputs: int
    outputs: int
    default_input: bool
    default_output: bool


def _library():
    try:
        import sounddevice
    except OSError as error:
        raise SoundDeviceError("The PortAudio library is missing, so no sound device can be reached.",
                               try_next="install it (Debian and Ubuntu: libportaudio2), or use --keys") from error
    except ImportError as error:
        raise SoundDeviceError("The package sounddevice is missing.", try_next="install the project again") from error
    return sounddevice


def devices() -> list[Device]:
    """All sound devices. Raises SoundDeviceError."""
    sd = _library()
    try:
        found = sd.query_devices()
        default_in, default_out = sd.default.device
    except sd.PortAudioError as error:
        raise SoundDeviceError(f"The system's sound devices can't be listed: {error}") from error
    return [Device(k, d["name"], d["max_input_channels"], d["max_output_channels"], k == default_in, k == default_out)
            for k, d in enumerate(found)]


class HeadsetLost(SoundDeviceError):
    """The microphone gave no sound for SILENT_FOR_S: unplugged, switched off or taken by another program."""


class HeadsetSource:
    """A microphone as blocks of 0.1 s. `device`: index, part of a name, or None for the system's default.

    `overflows` and `dropped_blocks` count what the system or a slow reader lost. Raises SoundDeviceError when it can't be
    opened and HeadsetLost when it falls silent for good.
    """

    def __init__(self, device: int | str | None = None, *, library=None, most_blocks: int = 600) -> None:
        self._sd = library or _library()
        self.name = f"microphone {device if device is not None else 'default'}"
        self.overflows = 0
        self.dropped_blocks = 0
        self._queue: queue.Queue[bytes] = queue.Queue(maxsize=most_blocks)
        self._closed = False
        try:
            self._stream = self._sd.RawInputStream(samplerate=RATE_HZ, channels=1, dtype="int16", blocksize=BLOCK_SAMPLES,
                                                   device=device, callback=self._take)
            self._stream.start()
        except (self._sd.PortAudioError, ValueError) as error:
            raise SoundDeviceError(f"The microphone can't be opened: {error}", where=self.name,
                                   try_next="choose another with --mic (`assistant devices` lists them), or use --keys") from error

    @property
    def latency_s(self) -> float:
        return float(getattr(self._stream, "latency", 0.1) or 0.1)

    def _take(self, data, frames, when, status) -> None:
        if status and getattr(status, "input_overflow", False):
            self.overflows += 1
        try:
            self._queue.put_nowait(bytes(data))
        except queue.Full:
            self.dropped_blocks += 1

    def blocks(self) -> Iterator[bytes]:
        while not self._closed:
            try:
                yield self._queue.get(timeout=SILENT_FOR_S)
            except queue.Empty:
                if self._closed:
                    return
                raise HeadsetLost("The microphone has gone silent.", where=self.name,
                                  try_next="plug it in again; the keys work meanwhile") from None

    def next_block(self, timeout_s: float = SILENT_FOR_S) -> bytes | None:
        """The next block, or None when none came in time."""
        try:
            return self._queue.get(timeout=timeout_s)
        except queue.Empty:
            return None

    def close(self) -> None:
        self._closed = True
        try:
            self._stream.abort()
            self._stream.close()
        except self._sd.PortAudioError:
            pass   # already gone, which is what was wanted


def measure_level(source: HeadsetSource, seconds: float) -> bytes:
    """So many seconds of sound, for the level check. Raises HeadsetLost."""
    until = time.monotonic() + seconds + SILENT_FOR_S
    parts, wanted = [], int(seconds * RATE_HZ) * 2
    for block in source.blocks():
        parts.append(block)
        if sum(map(len, parts)) >= wanted or time.monotonic() > until:
            break
    return b"".join(parts)[:wanted]
