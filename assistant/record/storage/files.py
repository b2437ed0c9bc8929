"""The few file-system calls the record uses, behind one seam, so that tests can make each of them fail."""

from __future__ import annotations

import contextlib
import errno
import os
import sys
from pathlib import Path
from typing import Protocol

OWNER_FILE = 0o600
OWNER_FOLDER = 0o700


class Files(Protocol):
    """What the record asks of a file system. Each call may raise OSError."""

    def open(self, path: Path, flags: int) -> int: ...
    def write(self, fd: int, data: bytes) -> int: ...
    def write_at(self, fd: int, data: bytes, offset: int) -> int: ...
    def sync(self, fd: int) -> None: ...
    def truncate(self, fd: int, size: int) -> None: ...
    def close(self, fd: int) -> None: ...
    def make_folder(self, path: Path) -> None: ...
    def sync_folder(self, path: Path) -> None: ...
    def replace(self, source: Path, target: Path) -> None: ...


class OsFiles:
    """The real thing."""

    def open(self, path: Path, flags: int) -> int:
        """Open for the owner only, in binary, without following a link put in the file's place."""
        flags |= getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_NOFOLLOW", 0)
        return os.open(path, flags, OWNER_FILE)

    def write(self, fd: int, data: bytes) -> int:
        return os.write(fd, data)

    def write_at(self, fd: int, data: bytes, offset: int) -> int:
        if hasattr(os, "pwrite"):
            return os.pwrite(fd, data, offset)
        os.lseek(fd, offset, os.SEEK_SET)
        return os.write(fd, data)

    def sync(self, fd: int) -> None:
        """To the disk itself: bytes and length; where it can be told apart, not the times, which nothing rests on.
        On macOS fsync stops at the drive's cache; F_FULLFSYNC doesn't."""
        if sys.platform == "darwin":
            import fcntl

            try:
                fcntl.fcntl(fd, fcntl.F_FULLFSYNC)
                return
            except OSError as error:
                import errno

                if error.errno not in (errno.ENOTSUP, errno.EINVAL):  # a network share that can't
                    raise
        if hasattr(os, "fdatasync"):
            os.fdatasync(fd)
        else:
            os.fsync(fd)

    def truncate(self, fd: int, size: int) -> None:
        os.ftruncate(fd, size)

    def close(self, fd: int) -> None:
        os.close(fd)

    def make_folder(self, path: Path) -> None:
        os.mkdir(path, OWNER_FOLDER)

    def sync_folder(self, path: Path) -> None:
        """Makes a new name in a folder durable. Windows has no such call and needs none."""
        if os.name == "nt":
            return
        fd = os.open(path, os.O_RDONLY | getattr(os, "O_DIRECTORY", 0))
        try:
            os.fsync(fd)
        finally:
            os.close(fd)

    def replace(self, source: Path, target: Path) -> None:
        os.replace(source, target)


def write_all(files: Files, fd: int, data: bytes) -> None:
    """Write all of `data`; a short write is gone on with, which then tells why it was short."""
    view = memoryview(data)
    while view:
        written = files.write(fd, bytes(view))
        if written <= 0:
            raise OSError(5, "the disk took nothing")
        view = view[written:]


def make_folders(files: Files, path: Path) -> None:
    """Make `path` and what is missing above it, for the owner only, each durable in its parent."""
    missing = []
    while not path.exists():
        missing.append(path)
        path = path.parent
    for folder in reversed(missing):
        with contextlib.suppress(FileExistsError):
            files.make_folder(folder)
        files.sync_folder(folder.parent)


def write_whole(files: Files, path: Path, data: bytes, *, durable: bool = True) -> None:
    """Write a small file beside its place and move it there, so that it is there whole or not at all. Raises
    OSError, also for a place that holds something else than a file: a device must never be replaced by one."""
    if path.exists() and not path.is_file():
        raise FileExistsError(errno.EEXIST, "that is no ordinary file", str(path))
    beside = path.with_name(f".{path.name}.{os.getpid()}.part")
    fd = files.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    try:
        write_all(files, fd, data)
        if durable:
            files.sync(fd)
    finally:
        files.close(fd)
    files.replace(beside, path)
    if durable:
        files.sync_folder(path.parent)
