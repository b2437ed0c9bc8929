"""A record kept in memory, for tests and for dry runs. It holds the same contract as the file, faults too."""

from __future__ import annotations

import io
import os
from typing import BinaryIO

from assistant.errors import StorageError
from assistant.record.storage.file_store import storage_error


class MemoryLineStore:
    """Keeps a record's bytes in memory. `fail_next(errno, after)` makes the next append fail part-way."""

    def __init__(self, held: bytes = b"") -> None:
        self.where = "memory"
        self._held = bytearray(held)
        self._asides: dict[str, bytes] = {}
        self._failed = ""
        self._closed = False
        self._fault: tuple[int, int] | None = None

    def fail_next(self, error_number: int, after_bytes: int = 0) -> None:
        """The next append keeps `after_bytes` bytes and then fails with `error_number`."""
        self._fault = (error_number, after_bytes)

    def append(self, data: bytes) -> None:
        """See the port."""
        if self._failed or self._closed:
            raise StorageError(
                self._failed or "The record is closed.",
                where=self.where,
                try_next="Recover the record, then go on.",
            )
        if self._fault:
            (number, after), self._fault = self._fault, None
            self._held += data[:after]
            failure = storage_error(OSError(number, os.strerror(number)), self.where)
            self._failed = failure.what
            raise failure
        self._held += data

    def size(self) -> int:
        """Bytes held."""
        return len(self._held)

    def stream(self) -> BinaryIO:
        """The bytes as they are now."""
        return io.BytesIO(bytes(self._held))

    def set_aside(self, name: str, data: bytes) -> None:
        """Keep a tail."""
        self._asides.setdefault(name, data)

    def asides(self) -> dict[str, bytes]:
        """Tails kept so far."""
        return dict(self._asides)

    def cut(self, size: int) -> None:
        """Shorten."""
        if self._closed:
            raise StorageError("The record is closed.", where=self.where)
        del self._held[size:]

    def end_here(self) -> None:
        """It reserves nothing."""

    def close(self) -> None:
        """No more appends."""
        self._closed = True

    def reopened(self) -> MemoryLineStore:
        """What a new process would find."""
        again = MemoryLineStore(bytes(self._held))
        again._asides = dict(self._asides)
        return again
