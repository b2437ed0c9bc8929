"""From a record to its row in the index, and what tells that a record changed or is being written."""

from __future__ import annotations

import json
import os
import re
from dataclasses import asdict
from datetime import UTC, timedelta
from pathlib import Path
from typing import Any

from assistant.account.plans import PlanCache
from assistant.errors import GauntletError
from assistant.record.lines.safe_text import printable
from assistant.record.reader import Record
from assistant.record.storage.file_store import FILE_NAME
from assistant.record.storage.index import Entry
from assistant.review.deciding.decisions import FINAL, REJECTED, signed_lines, standing
from assistant.review.deciding.holding import is_paper, why_not_holding
from assistant.review.people.site_keys import Registry, judged_by
from assistant.review.register.index_tables import Row
from assistant.review.session.digest import digest
from assistant.review.session.opened import Opened, open_session
from assistant.review.session.times import parse_wall

_KEY_ID = re.compile(r"[0-9a-f]{16}")
DOUBTFUL_WEIGHT = 40  # somebody put a signature there that isn't the site's
BROKEN_WEIGHT = 100_000  # above all that a session can do wrong: nobody knows what was cleaned there


def row_of(entry: Entry, size: int, mtime: int, plans: PlanCache, registry: Registry = None) -> Row:
    """What the index holds of one record, read from it now. A bad record is a row too. `registry`: the site's keys,
    by which its signatures are judged."""
    row = Row(session=entry.session, size=size, mtime_ns=mtime, enclosure=entry.enclosure, state="broken")
    stamp = entry.stamp
    row.started_utc = f"{stamp[:4]}-{stamp[4:6]}-{stamp[6:8]}T{stamp[9:11]}:{stamp[11:13]}:{stamp[13:15]}Z"
    row.started_wall = row.started_utc
    for name, column in Row.__table__.columns.items():
        if getattr(row, name) is None and column.default is not None:
            setattr(row, name, column.default.arg)
    try:
        opened = open_session(entry.folder, plans)
    except GauntletError as error:
        row.problem, row.weight, row.needs = printable(error.what, 400), BROKEN_WEIGHT, True
        row.reasons = json.dumps([f"The record can't be read: {row.problem}"])
        return row
    _fill(row, opened, entry, registry)
    return row


def _fill(row: Row, opened: Opened, entry: Entry, registry: Registry) -> None:
    record = opened.record
    told = record.header
    procedure = found if isinstance(found := told.get("procedure"), dict) else {}
    place = found if isinstance(found := told.get("enclosure"), dict) else {}
    first, last = record.lines[0], (record.seal or record.lines[-1])
    row.kind, row.head, row.facts = record.kind, record.lines[-1].sha256, len(opened.facts)
    row.enclosure_name = _shown(
        opened.enclosure_name or place.get("name") or told.get("enclosure") or entry.enclosure
    )
    row.site, row.technician = _shown(told.get("site")), _shown(told.get("technician"))
    row.procedure, row.title = _shown(procedure.get("id")), _shown(procedure.get("title"))
    row.revision, row.purpose = _shown(procedure.get("revision")), _shown(procedure.get("purpose"))
    row.started_wall, row.ended_wall = first.wall, last.wall
    row.started_utc = _utc(first.wall) or row.started_utc
    row.duration_ms = last.t_ms
    begun = parse_wall(first.wall)
    # The end is the start plus measured time: a wall clock that stepped meanwhile moves no due date.
    row.ended_utc = (
        _utc((begun + timedelta(milliseconds=last.t_ms)).isoformat()) if begun and last.t_ms < 10**12 else ""
    )
    summary = digest(opened.facts, opened.plan, record.kind)
    row.verdict, row.deviations = _shown(summary.verdict), summary.deviations
    row.people = json.dumps([_shown(p) for p in summary.people] or [row.technician])
    row.step_ms = json.dumps(summary.step_ms)
    weight, reasons, findings = summary.weight, summary.reasons, summary.findings
    row.problem = printable("; ".join(record.problems[:1]) or opened.problem, 400)
    row.state = "sealed" if record.seal else writing_state(entry.folder)
    # Of practice only what isn't whole is said: nothing hangs on whether a later core can follow it.
    wrong = why_not_holding(opened) if record.kind == "live" else "; ".join(record.problems[:1])
    if wrong:
        row.state, row.problem = "broken", printable(wrong, 400)
        weight, reasons = weight + BROKEN_WEIGHT, [f"The record doesn't hold: {row.problem}", *reasons]
    elif row.state == "open":
        weight, reasons = weight + 30, ["The session broke off and was not sealed.", *reasons]
    elif row.problem and not is_paper(opened):
        weight, reasons = weight + 15, [f"It can't be folded again: {row.problem}", *reasons]
    row.findings = json.dumps([asdict(f) for f in findings[:200]])
    doubtful = _decide(row, record, registry, bool(wrong))
    if doubtful:
        weight, reasons = weight + DOUBTFUL_WEIGHT, [doubtful, *reasons]
    row.weight = min(weight, 10**6)
    row.reasons = json.dumps([printable(r, 240) for r in reasons[:12]])
    row.search = f"{row.title} {row.technician} {row.session} {' '.join(json.loads(row.reasons))}".casefold()
    # A record so damaged that its kind can't be told needs a person most of all.
    row.needs = not row.decided and (row.state == "broken" or (row.kind == "live" and row.state in ("sealed", "open")))


def _decide(row: Row, record: Record, registry: Registry, broken: bool) -> str:
    """What stands, as the session's page judges it; why a line after the seal counts for nothing, or ""."""
    signed = signed_lines(record, registry)
    row.signers = " ".join(sorted({s.key_id for s in signed if _KEY_ID.fullmatch(s.key_id)}))
    row.judged = judged_by(row.signers, registry)
    now = standing(signed)
    decided = now is not None and now.decision in FINAL
    if now is None and (whoever := standing(signed_lines(record))) and whoever.decision == REJECTED:
        now = whoever  # by a key that the site doesn't know: it decides nothing, but nothing counts as clean by it either
    # What was accepted on a record that doesn't hold counts for nothing; a refusal still does.
    if now and (not broken or now.decision == REJECTED):
        row.decision, row.decided = now.decision, decided
        row.decided_by, row.decided_wall = now.name, now.wall
    bad = next((s for s in signed if s.problem), None)
    return f"Line {bad.line}, signed as {bad.name or 'nobody'}, counts for nothing: {bad.problem}." if bad else ""


def _shown(value: Any) -> str:
    return printable(value, 160) if isinstance(value, str | int) else ""


def _utc(wall: str) -> str:
    moment = parse_wall(wall)
    try:
        return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ") if moment else ""
    except (OverflowError, ValueError):
        return ""


def mark_of(folder: Path) -> tuple[int, int]:
    """Size and time of a record's file; zeros where there is none."""
    try:
        told = os.stat(folder / FILE_NAME)
    except OSError:
        return 0, 0
    return told.st_size, told.st_mtime_ns


def folder_times(root: Path) -> dict[str, int]:
    """Enclosure folder -> when a session was last added to it or taken away (ns)."""
    try:
        with os.scandir(root) as places:
            return {
                p.name: p.stat().st_mtime_ns
                for p in places
                if p.name[0] not in "._" and p.is_dir(follow_symlinks=False)
            }
    except OSError:
        return {}


def writing_state(folder: Path) -> str:
    """live while a writer that is still there holds the record, else open: it broke off."""
    try:
        note = json.loads((folder / ".session-writer.json").read_bytes()[:4096])
        process, host = int(note["process"]), str(note["host"])
    except (OSError, ValueError, KeyError, TypeError):
        return "open"
    import socket

    if host != socket.gethostname() or os.name == "nt":
        return "live"  # another machine's, which alone knows; on Windows asking would interrupt the process
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return "open"
    except (OSError, OverflowError):
        return "live"
    return "live"
