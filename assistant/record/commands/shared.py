"""What the record's commands share: finding a record, today's wall time, one JSON object out, folding
deep."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any, BinaryIO

import platformdirs

from assistant.errors import GauntletError, StorageError
from assistant.record.reader import Record, read_record
from assistant.record.storage.file_store import FILE_NAME, storage_error
from assistant.record.storage.files import OsFiles, make_folders, write_whole
from assistant.record.storage.index import find_record
from assistant.record.verify import DeepOutcome, deep_verify


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


def fold_deep(record: Record) -> DeepOutcome:
    """Fold a record through today's core, and decide everything again where the rules are the same
    version."""
    if record.header.get("transcribed") is True:
        return DeepOutcome("")  # paper has no core facts to fold
    from assistant.station.account.digest import state_sha256
    from assistant.station.account.opening import OpenedSession, facts_of, plan_of, rederive

    opened = OpenedSession(record, plan_of(record), tuple(facts_of(record)))
    return DeepOutcome(state_sha256(opened.state(), record.rules), problems=tuple(rederive(opened)))


def state_digest(state: Any, rules: int) -> str:
    """The digest that a seal carries, of a state that was folded already. `rules`: the record's version of them."""
    from assistant.station.account.digest import state_sha256

    return state_sha256(state, rules)


def deep_problems(path: Path | str) -> list[str]:
    """What doesn't agree when the record is folded, and decided again, by today's core; empty: replay is proof."""
    try:
        return deep_verify(read_record(path), fold_deep)
    except GauntletError as error:
        return [f"It can't be folded: {error.what}"]
    except (KeyError, IndexError, TypeError, ValueError, AttributeError, RuntimeError) as error:
        # Whole, but made by somebody else's hand: its facts have shapes that no session writes.
        return [f"It can't be folded: its facts aren't a session's ({type(error).__name__})"]


def summary_of(record: Record) -> Any:
    """The report's summary, from the core's fold; of a clean kept on paper, from its late entries."""
    from assistant.station.account.summary import RELEASE_RULE, released_by, summarise

    if record.header.get("transcribed") is True:
        from assistant.record.export.paper import paper_summary

        return replace(paper_summary(record), released=released_by(record), release_rule=RELEASE_RULE)
    return summarise(record)
