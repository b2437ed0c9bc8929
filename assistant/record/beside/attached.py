"""Files beside a record that it names by hash: the session's sound, the approval it ran under.

The sound is named by a line of its own before the seal; it may be deleted later, as a clip may, while its hash stays.
Site files and approval are named in the first line, and must stay."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from typing import Any

from assistant.errors import RecordError
from assistant.record.storage.file_store import storage_error
from assistant.record.storage.paths import safe_name
from assistant.record.storage.store import LineRef
from assistant.record.writer import RecordWriter

ATTACHED = "record_file_attached"
SITE = "site"


def attach_file(writer: RecordWriter, name: str, what: str, *, t_ms: int, wall: str) -> LineRef:
    """Name a finished file of the session's folder by its SHA-256, once its bytes are on disk. `what`: it in words.

    Raises RecordError where there is no such file, StorageError."""
    path = writer.folder / name
    if safe_name(name) != name or path.is_symlink() or not path.is_file():
        raise RecordError("There is no such file beside the record.", where=str(path))
    try:
        with path.open("rb+") as file:
            os.fsync(file.fileno())
            digest = hashlib.file_digest(file, "sha256").hexdigest()
            size = file.tell()
    except OSError as error:
        raise storage_error(error, str(path)) from error
    data = {"file": name, "sha256": digest, "bytes": size, "what": what}
    return writer.append([{"kind": ATTACHED, "v": 1, "data": data}], t_ms, wall)[0]


def attached_names(kind: str, data: dict[str, Any]) -> Iterator[tuple[str, str]]:
    """(name, SHA-256) of the sound that a line attaches; nothing for any other line, one of odd shape, or a name that
    leads elsewhere."""
    if kind == ATTACHED:
        yield from ((name, digest) for name, digest in _pair(data) if safe_name(name) == name)


def opening_names(header: dict[str, Any]) -> Iterator[tuple[str, str]]:
    """(name, SHA-256) of the site's files and the approval, as a first line names them."""
    files = header.get("files")
    for part in (*(files if isinstance(files, list) else ()), header.get("approval_file")):
        yield from _pair(part)


def _pair(part: Any) -> Iterator[tuple[str, str]]:
    name, digest = (part.get("file"), part.get("sha256")) if isinstance(part, dict) else (None, None)
    if isinstance(name, str) and isinstance(digest, str):
        yield name, digest
