"""A 16-bit WAV file whose header is right after every block.

The standard library's writer also keeps its header right, but after a full disk it tries to write once
more when it is thrown away and prints a traceback; libsndfile writes the header only at the end.
"""

from __future__ import annotations

import os
import struct
from pathlib import Path

from assistant.errors import StorageError

HEADER_BYTES = 44
MAX_BYTES = 2**32 - 4096  # a WAV file counts its bytes in 32 bits: about 18 hours of two channels at 16 kHz


class WavWriter:
    """Appends frames. Raises StorageError when the file can't be made or written or has reached MAX_BYTES."""

    def __init__(self, path: Path, rate_hz: int, channels: int) -> None:
        self.path = path
        self._rate_hz = rate_hz
        self._channels = channels
        self._data_bytes = 0
        try:
            # Nothing held back that could fail again later; for its owner only, since it holds voices.
            self._file = open(  # noqa: SIM115 - until close
                path, "wb", buffering=0, opener=lambda p, flags: os.open(p, flags, 0o600)
            )
            self._put(self._header())
        except OSError as error:
            raise self._storage_error(error) from error

    def write(self, frames: bytes) -> None:
        """Append whole little-endian int16 frames, then set the header right."""
        if HEADER_BYTES + self._data_bytes + len(frames) > MAX_BYTES:
            raise StorageError(
                "The sound file has reached the size a WAV file can have.", where=str(self.path)
            )
        try:
            self._file.seek(HEADER_BYTES + self._data_bytes)
            self._put(frames)
            self._data_bytes += len(frames)
            self._file.seek(0)
            self._put(self._header())
        except OSError as error:
            raise self._storage_error(error) from error

    def close(self) -> None:
        try:
            self._file.close()
        except OSError:
            pass  # all data were handed over before; a failure was reported then

    def _put(self, data: bytes) -> None:
        view = memoryview(data)
        while view:
            view = view[self._file.write(view) :]

    def _header(self) -> bytes:
        """RIFF/WAVE header of 44 bytes: PCM format, 16 bits, then the data chunk's length."""
        frame_bytes = 2 * self._channels
        return struct.pack(
            "<4sI4s4sIHHIIHH4sI",
            b"RIFF", HEADER_BYTES - 8 + self._data_bytes, b"WAVE",
            b"fmt ", 16, 1, self._channels, self._rate_hz, self._rate_hz * frame_bytes, frame_bytes, 16,
            b"data", self._data_bytes,
        )  # fmt: skip

    def _storage_error(self, error: OSError) -> StorageError:
        return StorageError(
            f"The sound file can't be written: {os.strerror(error.errno) if error.errno else error}",
            where=str(self.path),
            try_next="choose a folder that can be written, or free some disk space",
        )
