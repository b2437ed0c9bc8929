"""One writer per session folder, and one live session per enclosure.

The operating system drops the lock when its holder dies, so a lock file left by a crash is free to take; the
owner's name beside it says who holds it while it is held.
"""

from __future__ import annotations

import json
import os
import socket
from pathlib import Path

import filelock

from assistant.errors import RecordError
from assistant.record.lines.safe_text import printable
from assistant.record.storage.file_store import storage_error
from assistant.record.storage.files import Files, OsFiles, make_folders, write_whole


class WriterLock:
    """Holds `folder` for one writer. `owner`: the name shown to whoever is refused.

    Raises RecordError when another writer holds it, StorageError where the folder can't be written.
    `was_stale` tells that the one before never let go."""

    def __init__(
        self, folder: Path, owner: str, *, what: str = "session", files: Files | None = None
    ) -> None:
        self._owner_file = Path(folder) / f".{what}-writer.json"
        files = files or OsFiles()
        try:
            make_folders(files, Path(folder))
            self._lock = filelock.FileLock(
                Path(folder) / f".{what}-writer.lock",
                timeout=0,
                mode=0o600,
                is_singleton=False,
                thread_local=False,
            )
            self._lock.acquire()
        except filelock.Timeout:
            raise RecordError(
                f"This {what} is being written by {self._holder()}.",
                where=str(folder),
                try_next="Wait until that is finished, or finish it there.",
            ) from None
        except OSError as error:
            raise storage_error(error, str(folder)) from error
        self.was_stale = self._owner_file.exists()
        note = {"owner": owner, "process": os.getpid(), "host": socket.gethostname()}
        try:
            write_whole(files, self._owner_file, json.dumps(note).encode(), durable=False)
        except OSError as error:
            self._lock.release()
            raise storage_error(error, str(folder)) from error

    def _holder(self) -> str:
        try:
            note = json.loads(self._owner_file.read_bytes()[:4096])
            return (
                f"{printable(str(note['owner']), 80)} (process {int(note['process'])} on "
                f"{printable(str(note['host']), 80)})"
            )
        except (OSError, ValueError, KeyError, TypeError):
            return "somebody else"

    def release(self) -> None:
        """Let go. Twice does no harm."""
        if self._lock.is_locked:
            self._owner_file.unlink(missing_ok=True)
            self._lock.release()
