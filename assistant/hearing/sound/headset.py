"""Sound from a headset through PortAudio. The library is imported only when a device is wanted."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from assistant.errors import SoundDeviceError
from assistant.hearing.sound.frames import RATE_HZ
from assistant.hearing.sound.source import BLOCK_SAMPLES

SILENT_FOR_S = 1.0       # no block for so long: the microphone is gone
ANSWER_S = 5.0           # opening or closing that takes longer hangs: drivers do when a device is pulled out
_OTHER = "choose another with --mic or --microphone (`assistant devices` lists them), or use --keys"


@dataclass(frozen=True)
class Device:
    """One sound device as the system names it."""

    index: int
    name: str
    inputs: int
    outputs: int
    default_input: bool
    default_output: bool


def _library() -> Any:
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

    Where a device refuses 16 kHz it is opened at its own rate and brought to 16 kHz here. `overflows` and
    `dropped_blocks` count what the system or a slow reader lost. Raises SoundDeviceError when it can't be opened and
    HeadsetLost when it falls silent for good.
    """

    def __init__(self, device: int | str | None = None, *, library: Any = None, most_blocks: int = 600,
                 answer_s: float = ANSWER_S) -> None:
        self._sd = library or _library()
        self.name = f"microphone {device if device is not None else 'default'}"
        self.overflows = 0
        self.dropped_blocks = 0
        self._answer_s = answer_s
        self._queue: queue.Queue[bytes] = queue.Queue(maxsize=most_blocks)
        self._closed = False
        self._resample: Callable[[bytes], bytes] = lambda pcm: pcm
        self.rate_hz = RATE_HZ
        try:
            opened, self._stream = _within(answer_s, lambda: self._open(device))
        except Exception as error:  # PortAudioError, ValueError, OSError: whichever the back end raises
            raise SoundDeviceError(f"The microphone can't be opened: {error}", where=self.name, try_next=_OTHER) from error
        if not opened:
            raise SoundDeviceError("The sound system doesn't answer when the microphone is opened.", where=self.name,
                                   try_next="plug it out and in again; or " + _OTHER)

    def _open(self, device: int | str | None) -> Any:
        """The running stream, at 16 kHz or else at the device's own rate."""
        try:
            return self._started(device, RATE_HZ)
        except Exception as error:
            try:
                own = int(self._sd.query_devices(device, "input")["default_samplerate"])
            except Exception:
                raise error from None   # the first refusal says more
            if own == RATE_HZ:
                raise
        self._resample = _to_16_khz(own)
        self.rate_hz = own
        return self._started(device, own)

    def _started(self, device: int | str | None, rate_hz: int) -> Any:
        stream = self._sd.RawInputStream(samplerate=rate_hz, channels=1, dtype="int16",
                                         blocksize=BLOCK_SAMPLES * rate_hz // RATE_HZ, device=device, callback=self._take)
        stream.start()
        return stream

    @property
    def latency_s(self) -> float:
        return float(getattr(self._stream, "latency", 0.1) or 0.1)

    def _take(self, data: Any, frames: int, when: Any, status: Any) -> None:
        if status and getattr(status, "input_overflow", False):
            self.overflows += 1
        try:
            self._queue.put_nowait(bytes(data))
        except queue.Full:
            self.dropped_blocks += 1

    def blocks(self) -> Iterator[bytes]:
        while not self._closed:
            block = self.next_block(SILENT_FOR_S)
            if block is not None:
                yield block
            elif not self._closed:
                raise HeadsetLost("The microphone has gone silent.", where=self.name,
                                  try_next="plug it in again; the keys work meanwhile")

    def next_block(self, timeout_s: float = SILENT_FOR_S) -> bytes | None:
        """The next block, or None when none came in time."""
        try:
            return self._resample(self._queue.get(timeout=timeout_s))
        except queue.Empty:
            return None

    def close(self) -> None:
        """Let the device go. One that was pulled out may never answer: then it is left behind after a moment."""
        if self._closed:
            return
        self._closed = True
        try:
            _within(self._answer_s, self._let_go)
        except Exception:
            pass   # already gone, which is what was wanted

    def _let_go(self) -> None:
        self._stream.abort()
        self._stream.close()


def _within(seconds: float, act: Callable[[], Any]) -> tuple[bool, Any]:
    """(True, what `act` returned), or (False, None) when it hangs longer. Raises what it raised."""
    done: queue.Queue[tuple[Any, Exception | None]] = queue.Queue()

    def run() -> None:
        try:
            done.put((act(), None))
        except Exception as error:  # handed over to the caller's thread
            done.put((None, error))

    threading.Thread(target=run, daemon=True).start()
    try:
        found, error = done.get(timeout=seconds)
    except queue.Empty:
        return False, None
    if error is not None:
        raise error
    return True, found


def _to_16_khz(rate_hz: int) -> Callable[[bytes], bytes]:
    """int16 blocks at another rate to int16 blocks at 16 kHz, as one stream without seams."""
    import numpy as np
    import soxr

    stream = soxr.ResampleStream(rate_hz, RATE_HZ, 1, dtype="int16")
    return lambda pcm: bytes(stream.resample_chunk(np.frombuffer(pcm, dtype="<i2")).tobytes())
