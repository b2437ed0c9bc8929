"""A sink that plays to a headset through PortAudio, in a call-back that mixes and can fall silent at once."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from assistant.errors import SoundDeviceError
from assistant.speaking.resample import to_rate
from assistant.speaking.sink import FADE_S, check_mono
from assistant.speaking.voice import CLIP_RATE_HZ

BLOCK_S = 0.02
START_GRACE_S = 2.0  # a wireless headset may take a while before it asks for its first samples
LOST_AFTER_S = 1.0
"""PortAudio doesn't reliably tell of an unplugged device; a call-back that stays away this long does."""


def load_sounddevice() -> Any:
    """The sounddevice module. Raises SoundDeviceError naming the package when PortAudio is missing."""
    try:
        import sounddevice
    except OSError as error:
        raise SoundDeviceError(
            "The sound library PortAudio isn't installed.",
            expected="PortAudio as a shared library",
            try_next="on Debian and Ubuntu: install the package libportaudio2",
        ) from error
    return sounddevice


class HeadsetHandle:
    """A sound on its way to a headset; times on the sink's monotonic clock, device latency included."""

    def __init__(self, sink: HeadsetSink, samples: np.ndarray, start_s: float) -> None:
        self._sink = sink
        self.samples = samples
        self.position = 0  # next sample to hand over; changed only in the call-back
        self.begun = False
        self.planned_start_s = start_s
        self._end_s = start_s + len(samples) / sink.rate_hz
        self.stop_at_s: float | None = None
        self._interrupted = False
        self._ended = threading.Event()
        if not len(samples):
            self._ended.set()

    @property
    def start_s(self) -> float:
        return self.planned_start_s

    @property
    def end_s(self) -> float:
        return self._end_s

    @property
    def interrupted(self) -> bool:
        return self._interrupted

    def stop(self, at_s: float | None = None) -> None:
        with self._sink._lock:
            if self._ended.is_set() or self.stop_at_s is not None:
                return
            self.stop_at_s = self._sink.now_s() if at_s is None else at_s

    def done(self) -> bool:
        self._sink._check_lost()
        return self._ended.is_set() and self._sink.now_s() >= self._end_s

    def wait(self, timeout_s: float) -> bool:
        """Wait until the last sample is handed to the device, at most `timeout_s`; True when it was."""
        self._sink._check_lost()
        return self._ended.wait(timeout_s)

    def _finish(self, end_s: float, interrupted: bool) -> None:
        self._end_s = end_s
        self._interrupted = interrupted
        self._ended.set()


class HeadsetSink:
    """`Sink` on a real device. `device`: PortAudio's index or name, None for the default.

    `backend` is the sounddevice module (or one shaped like it), `clock` the monotonic clock in seconds.
    Raises SoundDeviceError when there is no PortAudio, no such device or it can't be opened.
    """

    def __init__(
        self,
        device: int | str | None = None,
        *,
        backend: Any = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._sd = backend or load_sounddevice()
        self._clock = clock
        self._lock = threading.Lock()
        self._active: list[HeadsetHandle] = []
        self._device = device
        self._lost = False
        self._closed = False
        self.underflows = 0
        self._stream, self.rate_hz = self._open(device)
        self._last_callback_s = clock() + START_GRACE_S
        try:
            self._stream.start()
        except Exception as error:
            raise self._device_error(error) from error
        self.latency_s = float(self._stream.latency)

    def _open(self, device: int | str | None) -> tuple[Any, int]:
        """The stream at 16 kHz, or at the device's own rate where it refuses that."""
        problem: Exception | None = None
        for rate_hz in (CLIP_RATE_HZ, None):
            try:
                if rate_hz is None:
                    rate_hz = int(self._sd.query_devices(device, "output")["default_samplerate"])
                stream = self._sd.OutputStream(
                    samplerate=rate_hz,
                    channels=1,
                    dtype="int16",
                    blocksize=int(BLOCK_S * rate_hz),
                    latency="low",
                    device=device,
                    callback=self._callback,
                )
                return stream, rate_hz
            except Exception as error:  # PortAudioError, ValueError: whichever the back end raises
                problem = error
        raise self._device_error(problem) from problem

    def play(self, samples: np.ndarray, rate_hz: int, start_s: float | None = None) -> HeadsetHandle:
        check_mono(samples, rate_hz)
        samples = to_rate(samples, rate_hz, self.rate_hz)
        self._check_lost()
        if self._lost or self._closed:
            raise SoundDeviceError(
                "The headset is gone.",
                where=self._name(),
                try_next="plug it in again, or go on with the keys",
            )
        earliest = self._clock() + self.latency_s
        handle = HeadsetHandle(self, samples, earliest if start_s is None else max(start_s, earliest))
        with self._lock:
            if len(samples):
                self._active.append(handle)
        return handle

    def now_s(self) -> float:
        return self._clock()

    def stop_all(self) -> None:
        for handle in list(self._active):
            handle.stop()

    def lost(self) -> bool:
        """True once the device has gone away."""
        self._check_lost()
        return self._lost

    def describe(self) -> dict[str, object]:
        return {
            "sink": "headset",
            "device": self._name(),
            "rate_hz": self.rate_hz,
            "latency_s": round(self.latency_s, 4),
            "underflows": self.underflows,
        }

    def close(self) -> None:
        if self._closed:
            return
        self._closed = True
        self._end_all()
        for closing in ("abort", "close"):
            try:
                getattr(self._stream, closing)()
            except Exception:  # a device that is gone may refuse to be closed
                pass

    def _callback(self, out: np.ndarray, frames: int, times: Any, status: Any) -> None:
        """PortAudio's thread: mix what is due into `out`, shape (frames, 1)."""
        now = self._clock()
        self._last_callback_s = now
        if status:
            self.underflows += 1
        heard_s = now + max(0.0, times.outputBufferDacTime - times.currentTime)
        total = np.zeros(frames, dtype=np.int32)
        with self._lock:
            for handle in self._active:
                self._mix(handle, total, heard_s, now)
            self._active = [h for h in self._active if not h._ended.is_set()]
        out[:, 0] = np.clip(total, -32768, 32767)

    def _mix(self, handle: HeadsetHandle, total: np.ndarray, heard_s: float, now: float) -> None:
        frames = len(total)
        if not handle.begun:
            offset = max(0, round((handle.planned_start_s - heard_s) * self.rate_hz))
            if offset >= frames and handle.stop_at_s is None:
                return
            if handle.stop_at_s is not None:
                handle._finish(handle.planned_start_s, True)
                return
            handle.begun = True
            handle.planned_start_s = heard_s + offset / self.rate_hz
        else:
            offset = 0
        piece = handle.samples[handle.position : handle.position + frames - offset].astype(np.int32)
        stopping = handle.stop_at_s is not None and now + frames / self.rate_hz >= handle.stop_at_s
        if stopping:
            piece = piece[: int(FADE_S * self.rate_hz)]
            if len(piece):
                piece = np.round(piece * np.linspace(1.0, 0.0, len(piece))).astype(np.int32)
        total[offset : offset + len(piece)] += piece
        handle.position += len(piece)
        end_s = heard_s + (offset + len(piece)) / self.rate_hz
        if stopping or handle.position >= len(handle.samples):
            handle._finish(end_s, stopping)

    def _check_lost(self) -> None:
        silent_s = self._clock() - self._last_callback_s
        if not self._lost and not self._closed and (silent_s > LOST_AFTER_S or not self._stream.active):
            self._lost = True
            self._end_all()

    def _end_all(self) -> None:
        with self._lock:
            for handle in self._active:
                handle._finish(min(handle.end_s, self._clock()), True)
            self._active = []

    def _name(self) -> str:
        return "default device" if self._device is None else str(self._device)

    def _device_error(self, error: Exception | None) -> SoundDeviceError:
        return SoundDeviceError(
            f"The sound output can't be opened: {error}",
            where=self._name(),
            expected="a headset or loudspeaker",
            try_next="plug in a headset, and see which devices there are with: assistant devices",
        )
