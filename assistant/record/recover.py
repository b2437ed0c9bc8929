"""Open a record again after a crash: keep the torn tail, cut it off, and say so in a fact.

Only what a crash can leave is treated so: bytes after the last whole line of the chain. A record that the
witness log saw longer, or with whole lines after the damage, was changed by something else and is left alone.
"""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from assistant.errors import RecordError, StorageError
from assistant.record.lines.envelope import MalformedLine, parse_line
from assistant.record.lines.reserve import is_part_of_one_decision
from assistant.record.reader import Record, read_record, read_store
from assistant.record.site_log import SiteLog
from assistant.record.storage.file_store import FILE_NAME, FileLineStore, record_file
from assistant.record.storage.files import Files, OsFiles
from assistant.record.storage.locks import WriterLock
from assistant.record.storage.paths import root_of_session
from assistant.record.storage.store import LineStore
from assistant.record.writer import RecordWriter

COPY_BYTES = 1 << 26  # a torn tail is at most one decision's lines; more is no tail


def recover(
    path: Path | str,
    *,
    wall: str,
    t_ms: int | None = None,
    owner: str = "",
    why: str = "",
    clock: Callable[[], float] = time.monotonic,
    files: Files | None = None,
    witness: bool = True,
    accept_loss: bool = False,
) -> RecordWriter:
    """Take up an unsealed record again and append a `record_recovered` fact; returns its writer.

    `t_ms`: session time now (at least that of the last line, which is taken when None). `accept_loss`: go on
    although the witness log saw more lines; the fact then says so.
    Raises RecordError (in use, sealed, nothing whole in it, changed rather than torn), StorageError.
    """
    file = record_file(path).absolute()
    if file.name != FILE_NAME:  # what lies beside a record doesn't stand for it
        raise RecordError(
            "There is no record here.", where=str(path), expected=f"a session folder, or its {FILE_NAME}"
        )
    folder = file.parent
    files = files or OsFiles()
    before = read_record(folder)
    _refuse_sealed(before)
    owner = owner or str(before.header.get("technician", "")) or "a recovery"
    locks: list[WriterLock] = []
    store: FileLineStore | None = None
    try:
        if before.kind == "live":
            locks.append(WriterLock(folder.parent, owner, what="enclosure", files=files))
        locks.append(WriterLock(folder, owner, files=files))
        log = SiteLog(root_of_session(folder), files=files) if witness else None
        store = FileLineStore(folder, new=False, files=files, reserve=True)
        record = read_record(folder)  # again: now nobody else writes
        lost = _lost(record, log) if log else ""
        if lost and not accept_loss:
            raise RecordError(
                lost,
                where=str(folder),
                try_next="Run 'assistant verify' on it, and ask your "
                "supervisor. A recovery would hide the loss.",
            )
        notes = set_tail_aside(store, record)
        writer = RecordWriter(
            store,
            kind=record.kind,
            rules=record.rules,
            clock=clock,
            folder=folder,
            locks=locks,
            witness=log,
            files=files,
        )
        _take_up(writer, record, notes, t_ms, wall, why, lost, stale=locks[-1].was_stale)
        try:
            writer.witness("recovered", wall, lost)
        except StorageError as error:
            writer.warnings.append(error.what)
        return writer
    except BaseException:
        if store:
            store.close()
        for lock in locks:
            lock.release()
        raise


def recover_store(
    store: LineStore,
    *,
    wall: str,
    t_ms: int | None = None,
    why: str = "",
    clock: Callable[[], float] = time.monotonic,
) -> RecordWriter:
    """The same over any store, without locks and witness log."""
    record = read_store(store)
    _refuse_sealed(record)
    notes = set_tail_aside(store, record)
    writer = RecordWriter(store, kind=record.kind, rules=record.rules, clock=clock)
    _take_up(writer, record, notes, t_ms, wall, why, "", stale=False)
    return writer


def set_tail_aside(store: LineStore, record: Record) -> list[dict[str, Any]]:
    """Keep and cut off what follows the last whole line; returns a note on every tail that no line names yet.
    Reserve kept ahead is cut off too, but it is no tail.

    Done in this order a crash at any point leaves it to be done again. Raises RecordError when there are
    whole lines after the damage: a torn write doesn't look like that."""
    tail_at = record.ending.offset
    length = store.size() - tail_at
    if length > COPY_BYTES:
        raise RecordError(
            "What follows the last whole line is too long to be a torn write.",
            where=store.where,
            try_next="Run 'assistant verify' on it, and keep a copy.",
        )
    if length:
        with store.stream() as stream:
            stream.seek(tail_at)
            tail = stream.read().rstrip(b"\0")
        if _holds_whole_lines(tail) and not is_part_of_one_decision(tail, tail_at):
            raise RecordError(
                f"Line {record.ending.line} is damaged, but whole lines follow it.",
                where=store.where,
                expected="at most a torn last write",
                try_next="Run 'assistant verify' on it, and keep a copy.",
            )
        if tail:
            store.set_aside(f"tail-at-{tail_at}-{hashlib.sha256(tail).hexdigest()[:12]}.bin", tail)
        store.cut(tail_at)
    named = {note.get("name") for line in record.lines for note in _notes(line.data)}
    return [
        {"name": name, "bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()}
        for name, data in sorted(store.asides().items())
        if name not in named
    ]


def _notes(data: dict[str, Any]) -> list[dict[str, Any]]:
    notes = data.get("set_aside", [])
    return [note for note in notes if isinstance(note, dict)] if isinstance(notes, list) else []


def _take_up(
    writer: RecordWriter,
    record: Record,
    notes: list[dict[str, Any]],
    t_ms: int | None,
    wall: str,
    why: str,
    lost: str,
    *,
    stale: bool,
) -> None:
    writer.resume_from(record.lines)
    data = {
        "lines_kept": len(record.lines),
        "ended": record.ending.how,
        "set_aside": notes,
        "last_t_ms": writer.t_ms,
        "why": why,
        "lost": lost,
        "stale_lock": stale,
    }
    writer.append([{"kind": "record_recovered", "v": 1, "data": data}], max(writer.t_ms, t_ms or 0), wall)


def _refuse_sealed(record: Record) -> None:
    if not record.lines:
        raise RecordError(
            "The record holds no whole line, so the session had not begun.",
            where=str(record.path or ""),
            try_next="Start a new session.",
        )
    if record.seal:
        raise RecordError(
            "The record is sealed, so there is nothing to take up again.", where=str(record.path or "")
        )


def _lost(record: Record, log: SiteLog) -> str:
    seen = log.seen(record.session)
    if seen and seen[0] > len(record.lines):
        return f"The witness log saw {seen[0]} lines, but only {len(record.lines)} are whole."
    if seen and record.lines[seen[0] - 1].sha256 != seen[1]:
        return f"Line {seen[0]} isn't the line that the witness log saw."
    return ""


def _holds_whole_lines(tail: bytes) -> bool:
    for raw in tail.split(b"\n")[:-1]:
        try:
            parse_line(raw)
            return True
        except MalformedLine:
            continue
    return False
