"""The register's index: SQLite through SQLAlchemy, made from the records and nothing else.

It can be thrown away at any time. What is shown as proof is always read from the record itself; the index
only
says where to look.
"""

from __future__ import annotations

import json
import os
import threading
from collections.abc import Callable
from dataclasses import asdict
from datetime import timedelta, timezone
from pathlib import Path
from typing import Any

from sqlalchemy import Boolean, Engine, Integer, String, Text, create_engine, event, select
from sqlalchemy import Index as TableIndex
from sqlalchemy.orm import DeclarativeBase, Mapped, Session, mapped_column

from assistant.errors import GauntletError, StorageError
from assistant.record.file_store import FILE_NAME
from assistant.record.index import Entry, list_records
from assistant.record.safe_text import printable
from assistant.review.decisions import FINAL, signed_lines, standing
from assistant.review.digest import Finding, digest
from assistant.review.sessions import Opened, PlanCache, open_session
from assistant.review.times import parse_wall

VERSION = 4  # of the columns below; an index of another version is made anew


class Base(DeclarativeBase):
    """All tables."""


class Meta(Base):
    """What the index itself is."""

    __tablename__ = "meta"
    name: Mapped[str] = mapped_column(String, primary_key=True)
    value: Mapped[str] = mapped_column(Text)


class Row(Base):
    """One session. Times: `*_utc` sortable UTC, `*_wall` as written. `state`: sealed, live, open or
    broken."""

    __tablename__ = "sessions"
    session: Mapped[str] = mapped_column(String, primary_key=True)  # enclosure folder/session folder
    size: Mapped[int] = mapped_column(Integer)
    mtime_ns: Mapped[int] = mapped_column(Integer)
    state: Mapped[str] = mapped_column(String)
    problem: Mapped[str] = mapped_column(Text, default="")
    kind: Mapped[str] = mapped_column(String, default="")
    enclosure: Mapped[str] = mapped_column(String, default="")
    enclosure_name: Mapped[str] = mapped_column(Text, default="")
    site: Mapped[str] = mapped_column(Text, default="")
    procedure: Mapped[str] = mapped_column(Text, default="")
    title: Mapped[str] = mapped_column(Text, default="")
    revision: Mapped[str] = mapped_column(Text, default="")
    purpose: Mapped[str] = mapped_column(String, default="")
    technician: Mapped[str] = mapped_column(Text, default="")
    people: Mapped[str] = mapped_column(Text, default="[]")
    started_utc: Mapped[str] = mapped_column(String, default="")
    started_wall: Mapped[str] = mapped_column(String, default="")
    ended_utc: Mapped[str] = mapped_column(String, default="")
    ended_wall: Mapped[str] = mapped_column(String, default="")
    duration_ms: Mapped[int] = mapped_column(Integer, default=0)
    verdict: Mapped[str] = mapped_column(String, default="")
    facts: Mapped[int] = mapped_column(Integer, default=0)
    deviations: Mapped[int] = mapped_column(Integer, default=0)
    weight: Mapped[int] = mapped_column(Integer, default=0)
    reasons: Mapped[str] = mapped_column(Text, default="[]")
    findings: Mapped[str] = mapped_column(Text, default="[]")
    step_ms: Mapped[str] = mapped_column(Text, default="{}")
    decision: Mapped[str] = mapped_column(String, default="")
    decided: Mapped[bool] = mapped_column(Boolean, default=False)  # a final decision stands
    decided_by: Mapped[str] = mapped_column(Text, default="")
    decided_wall: Mapped[str] = mapped_column(String, default="")
    head: Mapped[str] = mapped_column(String, default="")

    __table_args__ = (
        TableIndex("by_need", "state", "kind", "decided", "weight"),
        TableIndex("by_enclosure", "enclosure", "ended_utc"),
        TableIndex("by_start", "started_utc"),
        TableIndex("by_technician", "technician", "procedure", "started_utc"),
    )

    @property
    def ended_local(self) -> str:
        """The end as RFC 3339 in the offset it was started in: the start plus the measured length."""
        begun = parse_wall(self.started_wall)
        if begun is None or self.duration_ms > 10**12:
            return self.ended_wall
        return (begun + timedelta(milliseconds=self.duration_ms)).isoformat(timespec="seconds")

    @property
    def reason_list(self) -> list[str]:
        """Why it needs a look, heaviest first."""
        return json.loads(self.reasons)

    @property
    def people_list(self) -> list[str]:
        """Everybody who worked in it."""
        return json.loads(self.people)

    @property
    def finding_list(self) -> list[Finding]:
        """All findings in the order of time."""
        return [Finding(**item) for item in json.loads(self.findings)]

    @property
    def steps(self) -> dict[str, int]:
        """Time per step, in ms."""
        return json.loads(self.step_ms)


class Index:
    """The index of one records root. Safe for the server's threads; one writer at a time."""

    def __init__(self, root: Path, file: Path | str = ":memory:") -> None:
        self.root = Path(root)
        self.file = file
        self.plans = PlanCache()
        self._lock = threading.Lock()
        self._folders: dict[str, int] | None = None
        self.engine = self._open()

    def _open(self) -> Engine:
        try:
            engine = _engine(self.file)
            Base.metadata.create_all(engine)
            with Session(engine) as db:
                found = db.get(Meta, "version")
                if found is not None and found.value == str(VERSION):
                    return engine
            Base.metadata.drop_all(engine)
            Base.metadata.create_all(engine)
            with Session(engine) as db:
                db.add(Meta(name="version", value=str(VERSION)))
                db.commit()
            return engine
        except Exception as error:
            if str(self.file) == ":memory:" or not Path(self.file).exists():
                raise StorageError("The register's index can't be made.", where=str(self.file)) from error
            Path(self.file).unlink()  # not an index any more: it holds nothing that the records don't
            return self._open()

    def db(self) -> Session:
        """A session to read with."""
        return Session(self.engine)

    def refresh(self, told: Callable[[int, int], None] | None = None) -> int:
        """Read what is new or changed among the records; how many were read. Names and sizes decide."""
        with self._lock:
            entries = self._entries()
            with self.db() as db:
                known = {
                    r.session: (r.size, r.mtime_ns, r.state)
                    for r in db.execute(select(Row.session, Row.size, Row.mtime_ns, Row.state))
                }
                here: set[str] = set()
                changed: list[tuple[Entry, int, int]] = []
                for entry in entries:
                    here.add(entry.session)
                    size, mtime = _mark(entry.folder)
                    old = known.get(entry.session)
                    if (
                        old is None
                        or old[:2] != (size, mtime)
                        or old[2] in ("live", "open")
                        and old[2] != writing_state(entry.folder)
                    ):
                        changed.append((entry, size, mtime))
                for number, (entry, size, mtime) in enumerate(changed, 1):
                    db.merge(self._row(entry, size, mtime))
                    if number % 200 == 0:
                        db.commit()
                    if told:
                        told(number, len(changed))
                for gone in known.keys() - here:
                    db.delete(db.get(Row, gone))
                db.commit()
                return len(changed)

    def refresh_new(self) -> int:
        """As `refresh`, but where no folder seems changed only sessions that aren't finished are looked at:
        cheap
        enough for every few seconds over ten thousand records."""
        folders = folder_times(self.root)
        if folders != self._folders:
            count = self.refresh()
            self._folders = folders
            return count
        with self.db() as db:
            unfinished = list(
                db.execute(
                    select(Row.session, Row.size, Row.mtime_ns, Row.state).where(
                        Row.state.in_(("live", "open"))
                    )
                )
            )
        count = 0
        for session, size, mtime_ns, state in unfinished:
            folder = self.root / session
            if _mark(folder) != (size, mtime_ns) or writing_state(folder) != state:
                self.refresh_one(session)
                count += 1
        return count

    def refresh_one(self, session: str) -> None:
        """Read one record again now (after signing it)."""
        enclosure, _, name = session.partition("/")
        stamp, _, session_id = name.partition("-")
        entry = Entry(str(self.root.absolute()), enclosure, stamp, session_id)
        with self._lock, self.db() as db:
            db.merge(self._row(entry, *_mark(entry.folder)))
            db.commit()

    def check(self) -> list[str]:
        """Every row held against its record, read anew. Problems as sentences; empty means they agree."""
        problems: list[str] = []
        with self.db() as db:
            rows = {row.session: row for row in db.scalars(select(Row))}
            for entry in self._entries():
                row = rows.pop(entry.session, None)
                if row is None:
                    problems.append(f"{entry.session} isn't in the index.")
                    continue
                fresh = self._row(entry, *_mark(entry.folder))
                for column in Row.__table__.columns.keys():
                    if getattr(row, column) != getattr(fresh, column):
                        problems.append(f"{entry.session}: {column} in the index differs from the record.")
                        break
            problems += [f"{name} is in the index, but there is no such record." for name in rows]
        return problems

    def rebuild(self) -> int:
        """Throw everything away and read all records."""
        with self._lock, self.db() as db:
            db.query(Row).delete()
            db.commit()
        return self.refresh()

    def _entries(self) -> list[Entry]:
        try:
            return [e for e in list_records(self.root) if (e.folder / FILE_NAME).is_file()]
        except GauntletError:
            return []

    def _row(self, entry: Entry, size: int, mtime: int) -> Row:
        row = Row(session=entry.session, size=size, mtime_ns=mtime, enclosure=entry.enclosure, state="broken")
        stamp = entry.stamp
        row.started_utc = (
            f"{stamp[:4]}-{stamp[4:6]}-{stamp[6:8]}T{stamp[9:11]}:{stamp[11:13]}:{stamp[13:15]}Z"
        )
        row.started_wall = row.started_utc
        for name, column in Row.__table__.columns.items():
            if getattr(row, name) is None and column.default is not None:
                setattr(row, name, column.default.arg)
        try:
            opened = open_session(entry.folder, self.plans)
        except GauntletError as error:
            row.problem, row.weight = printable(error.what, 400), 100
            row.reasons = json.dumps([f"The record can't be read: {row.problem}"])
            return row
        _fill(row, opened, entry)
        return row


def _fill(row: Row, opened: Opened, entry: Entry) -> None:
    record = opened.record
    told = record.header
    procedure = told.get("procedure") if isinstance(told.get("procedure"), dict) else {}
    place = told.get("enclosure") if isinstance(told.get("enclosure"), dict) else {}
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
    if record.problems:
        row.state = "broken"
    if row.state == "broken":
        weight, reasons = weight + 100, [f"The record doesn't hold: {row.problem}", *reasons]
    elif row.state == "open":
        weight, reasons = weight + 30, ["The session broke off and was not sealed.", *reasons]
    elif row.problem:
        weight, reasons = weight + 15, [f"It can't be folded again: {row.problem}", *reasons]
    row.weight = min(weight, 10**6)
    row.reasons = json.dumps([printable(r, 240) for r in reasons[:12]])
    row.findings = json.dumps([asdict(f) for f in findings[:200]])
    now = standing(signed_lines(record))
    if now:
        row.decision, row.decided = now.decision, now.decision in FINAL
        row.decided_by, row.decided_wall = now.name, now.wall


def _shown(value: Any) -> str:
    return printable(value, 160) if isinstance(value, str | int) else ""


def _utc(wall: str) -> str:
    moment = parse_wall(wall)
    try:
        return moment.astimezone(timezone.utc).strftime("%Y-%m-%dT%H:%M:%SZ") if moment else ""
    except (OverflowError, ValueError):
        return ""


def _mark(folder: Path) -> tuple[int, int]:
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


def _engine(file: Path | str) -> Engine:
    from sqlalchemy.pool import StaticPool

    if str(file) == ":memory:":
        return create_engine("sqlite://", poolclass=StaticPool, connect_args={"check_same_thread": False})
    Path(file).parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    engine = create_engine(f"sqlite:///{file}", connect_args={"timeout": 30})

    @event.listens_for(engine, "connect")
    def _set(connection: Any, _: Any) -> None:
        cursor = connection.cursor()
        cursor.execute("PRAGMA journal_mode=WAL")
        cursor.execute("PRAGMA synchronous=NORMAL")
        cursor.close()

    with open(file, "a", opener=lambda path, flags: os.open(path, flags, 0o600)):
        pass
    return engine
