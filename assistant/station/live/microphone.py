"""The live loop's microphone: a headset that may go silent, be found again, and tell what was lost."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from assistant.errors import SoundDeviceError

_SILENT_S = 1.0  # no block for so long: the microphone is gone; PortAudio rarely says so itself


class Microphone:
    """`Source` of the live loop. `open_device` opens a `HeadsetSource` (or one shaped like it), now and again
    whenever the device is looked for. Raises SoundDeviceError when it can't be opened at first."""

    def __init__(self, open_device: Callable[[], Any], clock: Callable[[], float] = time.monotonic) -> None:
        self._open_device = open_device
        self._clock = clock
        self._device = open_device()
        self._heard_s = clock()
        self._told = 0

    def read(self, timeout_s: float) -> bytes | None:
        """A block, or None when none came in time."""
        block: bytes | None = self._device.next_block(max(timeout_s, 0.001))
        if block is not None:
            self._heard_s = self._clock()
        return block

    def lost(self) -> bool:
        """True once nothing has come for a second."""
        return self._clock() - self._heard_s > _SILENT_S

    def dropped(self) -> int:
        """Blocks lost since the last call: by the system, or by a reader that came too late."""
        total: int = self._device.overflows + self._device.dropped_blocks
        new, self._told = total - self._told, total
        return new

    def reopen(self) -> bool:
        """Open the device again; True when it opens and sound comes."""
        self._device.close()
        try:
            device = self._open_device()
        except SoundDeviceError:
            return False
        self._device, self._told = device, 0
        return self.read(0.3) is not None

    def describe(self) -> dict[str, object]:
        """For the record."""
        return {"source": "microphone", "device": self._device.name, "latency_ms": round(self._device.latency_s * 1000)}

    def close(self) -> None:
        """Let the device go."""
        self._device.close()
