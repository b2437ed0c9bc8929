"""A stand-in for the sounddevice module: its call-back is called by hand, and it can be unplugged."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np

LATENCY_S = 0.01


class FakePortAudio:
    """`clock` and `pump` share one time; `heard` is what came out, as the device would play it."""

    def __init__(
        self, *, refuses_rates: tuple[int, ...] = (), own_rate_hz: int = 48_000, no_device: bool = False
    ):
        self.time_s = 100.0
        self.refuses_rates = refuses_rates
        self.own_rate_hz = own_rate_hz
        self.no_device = no_device
        self.heard: list[np.ndarray] = []
        self.stream: SimpleNamespace | None = None
        self.unplugged = False
        self.closed = False

    def clock(self) -> float:
        return self.time_s

    def query_devices(self, device, kind):
        if self.no_device:
            raise ValueError("Error querying device -1")
        return {"default_samplerate": float(self.own_rate_hz)}

    def OutputStream(self, *, samplerate, channels, dtype, blocksize, latency, device, callback):
        if self.no_device or samplerate in self.refuses_rates:
            raise ValueError(f"Invalid sample rate {samplerate}" if not self.no_device else "no device")
        self.rate_hz, self.block, self.callback = samplerate, blocksize, callback
        self.stream = SimpleNamespace(
            latency=LATENCY_S, active=True, start=lambda: None, abort=lambda: None, close=self._close
        )
        return self.stream

    def _close(self) -> None:
        self.closed = True

    def pump(self, until_s: float) -> None:
        """Let time pass to `until_s` (seconds since 100.0), block by block; silent in vain when unplugged."""
        while self.time_s < 100.0 + until_s - 1e-9:
            if not self.unplugged:
                out = np.zeros((self.block, 1), dtype=np.int16)
                times = SimpleNamespace(currentTime=5.0, outputBufferDacTime=5.0 + LATENCY_S)
                self.callback(out, self.block, times, None)
                self.heard.append(out[:, 0].copy())
            self.time_s += self.block / self.rate_hz
