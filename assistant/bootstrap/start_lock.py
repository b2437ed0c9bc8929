"""A lock between processes, from the standard library: one start makes the environment, the others wait."""

from __future__ import annotations

import contextlib
import errno
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import IO

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl


@contextlib.contextmanager
def held(path: Path, on_wait: Callable[[], None]) -> Iterator[None]:
    """Holds the lock on `path`, made if absent; calls `on_wait` once if another process has it, then waits.

    The system lets go of it when its holder dies, so that a killed start blocks nobody. Raises OSError where
    the file system can't lock.
    """
    with open(path, "a+b") as file:
        if not _try(file):
            on_wait()
            _wait(file)
        try:
            yield
        finally:
            _release(file)


if sys.platform == "win32":

    def _try(file: IO[bytes]) -> bool:
        file.seek(0)
        try:
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        except OSError as error:
            if error.errno in (errno.EACCES, errno.EDEADLK):
                return False
            raise
        return True

    def _wait(file: IO[bytes]) -> None:
        while True:
            file.seek(0)
            try:
                msvcrt.locking(file.fileno(), msvcrt.LK_LOCK, 1)  # tries for 10 s, then gives up
            except OSError as error:
                if error.errno not in (errno.EACCES, errno.EDEADLK):
                    raise
            else:
                return

    def _release(file: IO[bytes]) -> None:
        file.seek(0)
        msvcrt.locking(file.fileno(), msvcrt.LK_UNLCK, 1)

else:

    def _try(file: IO[bytes]) -> bool:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True

    def _wait(file: IO[bytes]) -> None:
        fcntl.flock(file, fcntl.LOCK_EX)

    def _release(file: IO[bytes]) -> None:
        fcntl.flock(file, fcntl.LOCK_UN)
