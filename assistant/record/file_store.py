"""A record kept in a file: `record.jsonl` in its session folder, torn tails beside it in `tails/`."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path
from typing import BinaryIO

from assistant.errors import RecordError, StorageError
from assistant.record.files import Files, OsFiles, make_folders, write_all, write_whole

FILE_NAME = "record.jsonl"
TAILS = "tails"


class FileLineStore:
    """Keeps a record's bytes in `folder`/record.jsonl.

    `new=True` makes the file and refuses one that is there; `new=False` opens one that must be there.
    Raises StorageError where the folder can't be written, RecordError for a record that is or isn't there.
    """

    def __init__(self, folder: Path, *, new: bool, files: Files | None = None) -> None:
        self._files = files or OsFiles()
        self._path = Path(folder) / FILE_NAME
        self.where = str(self._path)
        self._failed = ""
        flags = os.O_RDWR | os.O_APPEND | (os.O_CREAT | os.O_EXCL if new else 0)
        try:
            if new:
                make_folders(self._files, self._path.parent)
            self._fd: int | None = self._files.open(self._path, flags)
            if new:
                self._files.sync_folder(self._path.parent)
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
            write_all(self._files, self._fd, data)
            self._files.sync(self._fd)
        except OSError as error:
            # After a failed sync nobody knows what reached the disk, and a second sync may lie.
            failure = storage_error(error, self.where)
            self._failed = failure.what
            raise failure from error

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

    def close(self) -> None:
        """Close the file."""
        if self._fd is not None:
            fd, self._fd = self._fd, None
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
            f"The record can't be opened: {os.strerror(error.errno or 0)}.", where=str(path)
        ) from error
    if not stat.S_ISREG(os.fstat(fd).st_mode):
        os.close(fd)
        raise RecordError("This isn't a file.", where=str(path), expected=f"a {FILE_NAME}")
    return os.fdopen(fd, "rb", buffering=1 << 16)


def record_file(path: Path | str) -> Path:
    """The record's file, from a session folder or from the file itself."""
    path = Path(path)
    return path / FILE_NAME if path.is_dir() else path


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
