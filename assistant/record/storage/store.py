"""The port a record is kept behind: whole batches, durable when `append` returns, nothing ever rewritten.

`tests/contracts/test_record_store.py` holds every adapter to this, failures included.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import BinaryIO, Protocol

from assistant.errors import StorageError

SLOW_S = 1.0


@dataclass(frozen=True, slots=True)
class LineRef:
    """Where a fact went: line number and the line's SHA-256, by which a correction names it."""

    seq: int
    sha256: str


class SlowStorageError(StorageError):
    """The lines are on disk, but that took longer than a second, so the voice waited too long.

    `took_s`: how long. `refs`: what was written, since it counts.
    """

    def __init__(self, took_s: float, *, where: str = "") -> None:
        super().__init__(
            f"The disk took {took_s:.1f} s to answer.",
            where=where,
            expected=f"an answer within {SLOW_S:.0f} s",
            try_next="Use a local disk, and stop what else writes to it.",
        )
        self.took_s = took_s
        self.refs: list[LineRef] = []


class LineStore(Protocol):
    """Bytes of one record."""

    where: str

    def append(self, data: bytes) -> None:
        """Add `data` in one write and one sync; zero bytes (`reserve.py`) may follow it. Raises StorageError; then nothing more can be added here
        until the record is opened again through recovery, because what reached the disk isn't known."""

    def size(self) -> int:
        """Bytes held now, a torn tail and the reserve included."""

    def stream(self) -> BinaryIO:
        """The bytes from the start, for reading."""

    def set_aside(self, name: str, data: bytes) -> None:
        """Keep a torn tail under `name`, durable. The same name and bytes again do nothing."""

    def asides(self) -> dict[str, bytes]:
        """The tails set aside so far, by name."""

    def cut(self, size: int) -> None:
        """Shorten to `size` bytes, durable; only after the tail is set aside."""

    def end_here(self) -> None:
        """Give back the reserve, durable, and keep none from here on: the seal comes next. Raises StorageError."""

    def close(self) -> None:
        """Let go of files, and of the reserve. Twice does no harm."""
