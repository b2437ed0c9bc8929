"""A record kept in a file: `record.jsonl` in its session folder, torn tails beside it in `tails/`."""

from __future__ import annotations

import contextlib
import errno
import os
import stat
from pathlib import Path
from typing import BinaryIO

from assistant.errors import RecordError, StorageError
from assistant.record.lines.reserve import CAN_RESERVE, RESERVE_BYTES
from assistant.record.storage.files import Files, OsFiles, make_folders, write_all, write_whole

FILE_NAME = "record.jsonl"
TAILS = "tails"


class FileLineStore:
    """Keeps a record's bytes in `folder`/record.jsonl.

    `new=True` makes the file and refuses one that is there; `new=False` opens one that must be there. `reserve`:
    keep a reserve ahead, for a record that goes on (`reserve.py`); where that can't be, appending is plain.
    Raises StorageError where the folder can't be written, RecordError for a record that is or isn't there.
    """

    def __init__(self, folder: Path, *, new: bool, files: Files | None = None, reserve: bool = False) -> None:
        self._files = files or OsFiles()
        self._path = Path(folder) / FILE_NAME
        self.where = str(self._path)
        self._failed = ""
        self._reserves = reserve and CAN_RESERVE
        flags = os.O_RDWR | (0 if self._reserves else os.O_APPEND) | (os.O_CREAT | os.O_EXCL if new else 0)
        try:
            if new:
                make_folders(self._files, self._path.parent)
            self._fd: int | None = self._files.open(self._path, flags)
            if new:
                self._files.sync_folder(self._path.parent)
            # Where the next append goes, and how far the file goes: between the two lies the reserve.
            self._at = self._until = os.lseek(self._fd, 0, os.SEEK_END)
        except FileExistsError:
            raise RecordError(
                "There is a record here already, and a record is never written over.",
                where=self.where,
                try_next="Start a new session, or recover this one.",
            ) from None
        except FileNotFoundError:
            raise RecordError(
                "There is no record here.", where=self.where, expected=f"a session folder with {FILE_NAME}"
            ) from None
        except OSError as error:
            raise storage_error(error, self.where) from error

    def append(self, data: bytes) -> None:
        """One write, one sync. See the port."""
        if self._failed or self._fd is None:
            raise StorageError(
                self._failed or "The record is closed.",
                where=self.where,
                try_next="Recover the record, then go on.",
            )
        try:
            if self._reserves and self._at + len(data) > self._until:
                self._append_with_reserve(self._fd, data)
            else:
                write_all(self._files, self._fd, data)
            self._files.sync(self._fd)
        except OSError as error:
            # After a failed sync nobody knows what reached the disk, and a second sync may lie.
            failure = storage_error(error, self.where)
            self._failed = failure.what
            raise failure from error
        self._at += len(data)

    def _append_with_reserve(self, fd: int, data: bytes) -> None:
        """`data` and a new reserve behind it in one write. A disk too full for the reserve may still take the data."""
        try:
            written = self._files.write(fd, data + bytes(RESERVE_BYTES))
        except OSError as error:
            if error.errno not in _FULL:
                raise
            written, self._reserves = 0, False
        self._until = os.fstat(fd).st_size
        os.lseek(fd, self._at + min(written, len(data)), os.SEEK_SET)
        if written < len(data):
            write_all(self._files, fd, data[written:])

    def size(self) -> int:
        """Bytes in the file now."""
        return os.stat(self._path).st_size

    def stream(self) -> BinaryIO:
        """A second, read-only handle."""
        return open_record_file(self._path)

    def set_aside(self, name: str, data: bytes) -> None:
        """Keep a tail in `tails/`."""
        target = self._path.parent / TAILS / name
        try:
            make_folders(self._files, target.parent)
            if not target.exists():
                write_whole(self._files, target, data)
        except OSError as error:
            raise storage_error(error, str(target)) from error

    def asides(self) -> dict[str, bytes]:
        """Tails kept so far."""
        folder = self._path.parent / TAILS
        if not folder.is_dir():
            return {}
        return {path.name: path.read_bytes() for path in sorted(folder.glob("tail-*.bin"))}

    def cut(self, size: int) -> None:
        """Shorten the file."""
        if self._fd is None:
            raise StorageError("The record is closed.", where=self.where)
        try:
            self._files.truncate(self._fd, size)
            self._files.sync(self._fd)
        except OSError as error:
            failure = storage_error(error, self.where)
            self._failed = failure.what
            raise failure from error
        self._at = self._until = os.lseek(self._fd, size, os.SEEK_SET)

    def end_here(self) -> None:
        """Give back the reserve, before the seal: so no crash leaves a sealed record with one behind it."""
        if self._until > self._at:
            self.cut(self._at)
        self._reserves = False

    def close(self) -> None:
        """Close the file, and give back its reserve unless an append failed: what stands there then is to be kept."""
        if self._fd is not None:
            fd, self._fd = self._fd, None
            if self._until > self._at and not self._failed:
                with contextlib.suppress(OSError):  # whoever reads or recovers it knows a reserve for what it is
                    self._files.truncate(fd, self._at)
            self._files.close(fd)


def open_record_file(path: Path) -> BinaryIO:
    """Open a record for reading; a pipe, a device or a folder in its place is refused, not waited for."""
    try:
        fd = os.open(path, os.O_RDONLY | getattr(os, "O_BINARY", 0) | getattr(os, "O_NONBLOCK", 0))
    except FileNotFoundError:
        raise RecordError(
            "There is no record here.", where=str(path), expected=f"a session folder, or its {FILE_NAME}"
        ) from None
    except OSError as error:
        raise RecordError(
            f"The record can't be opened: {os.strerror(error.errno or 0)}.",
            where=str(path),
            expected=f"a session folder, or its {FILE_NAME}, that you may read",
            try_next="Ask whoever keeps the records; they are readable by their owner only.",
        ) from error
    if not stat.S_ISREG(os.fstat(fd).st_mode):
        os.close(fd)
        raise RecordError("This isn't a file.", where=str(path), expected=f"a {FILE_NAME}")
    return os.fdopen(fd, "rb", buffering=1 << 16)


def record_file(path: Path | str) -> Path:
    """The record's file, from a session folder or from the file itself."""
    path = Path(path)
    return path / FILE_NAME if os.path.isdir(path) else path  # os.path raises nothing where one may not look


_FULL = (errno.ENOSPC, errno.EFBIG, getattr(errno, "EDQUOT", errno.ENOSPC))
_TRY = {
    errno.ENOSPC: "Free some space on this disk.",
    errno.EDQUOT if hasattr(errno, "EDQUOT") else -1: "Free some of your quota.",
    errno.EACCES: "Choose a folder you may write to.",
    errno.EPERM: "Choose a folder you may write to.",
    errno.EROFS: "Choose a folder on a disk that can be written.",
    errno.EIO: "The disk is failing. Use another one.",
}


def storage_error(error: OSError, where: str) -> StorageError:
    """What a person is told about an OSError."""
    reason = os.strerror(error.errno) if error.errno else str(error)
    return StorageError(
        f"The record can't be written: {reason}.",
        where=where,
        try_next=_TRY.get(error.errno or 0, "Check the disk, then recover the record."),
    )
