"""What the record's commands share: finding a record, today's wall time, one JSON object out."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any, BinaryIO

import platformdirs

from assistant.errors import StorageError
from assistant.record.storage.file_store import FILE_NAME, storage_error
from assistant.record.storage.files import OsFiles, make_folders, write_whole
from assistant.record.storage.index import find_record


def record_path(wanted: str, records: str | None = None) -> Path:
    """The session folder for a path, or for an id or name below the records' folder. Raises RecordError."""
    path = Path(wanted)
    if os.path.isdir(path) and not os.path.exists(path / FILE_NAME) and not records:
        return path / FILE_NAME  # let the reader say that there is none
    if os.path.exists(path) or (os.sep in wanted and not records):
        return path
    return find_record(records or records_root(), wanted).folder


def records_root() -> Path:
    """Where records live: $GAUNTLET_RECORDS, or the user's data folder."""
    return Path(os.environ.get("GAUNTLET_RECORDS") or platformdirs.user_data_path("gauntlet") / "records")


def keys_root(chosen: str | None) -> Path:
    """Where keys live: chosen, $GAUNTLET_KEYS, or the user's data folder."""
    return Path(chosen or os.environ.get("GAUNTLET_KEYS") or platformdirs.user_data_path("gauntlet") / "keys")


def wall_now() -> str:
    """Now, as RFC 3339 with this place's offset."""
    return datetime.now().astimezone().isoformat(timespec="milliseconds")


def print_json(found: dict[str, Any]) -> None:
    """The command's one object on standard output."""
    json.dump(found, sys.stdout, ensure_ascii=False, sort_keys=True)
    sys.stdout.write("\n")
    sys.stdout.flush()


def write_out(folder: Path, name: str, data: bytes) -> Path:
    """Write an export for its owner only, whole or not at all. Raises StorageError."""
    files = OsFiles()
    try:
        make_folders(files, folder)
        write_whole(files, folder / name, data)
    except OSError as error:
        raise storage_error(error, str(folder / name)) from error
    if not (folder / name).exists():
        raise StorageError("The file isn't there after writing.", where=str(folder / name))
    return folder / name


def write_out_by(folder: Path, name: str, fill: Callable[[BinaryIO], None]) -> Path:
    """The same for a large export, which `fill` writes piece by piece. Raises StorageError."""
    files, beside = OsFiles(), folder / f".{name}.{os.getpid()}.part"
    try:
        make_folders(files, folder)
        with os.fdopen(files.open(beside, os.O_RDWR | os.O_CREAT | os.O_TRUNC), "w+b") as out:
            fill(out)
            out.flush()
            files.sync(out.fileno())
        files.replace(beside, folder / name)
        files.sync_folder(folder)
    except OSError as error:
        raise storage_error(error, str(folder / name)) from error
    finally:
        beside.unlink(missing_ok=True)
    return folder / name
