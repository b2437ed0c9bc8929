"""The register's index: SQLite through SQLAlchemy, made from the records and nothing else.

It can be thrown away at any time. What is shown as proof is always read from the record itself; the index
only
says where to look.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from filelock import FileLock, Timeout
from sqlalchemy import Engine, create_engine, event, select
from sqlalchemy.exc import DatabaseError, OperationalError
from sqlalchemy.orm import Session, defer

from assistant.account.plans import PlanCache
from assistant.errors import GauntletError, StorageError
from assistant.record.signing.keys import KeyStore
from assistant.record.storage.file_store import FILE_NAME
from assistant.record.storage.index import Entry, list_records
from assistant.review.people.site_keys import Registry, judged_by, registry_of
from assistant.review.register.index_rows import folder_times, mark_of, row_of, writing_state
from assistant.review.register.index_tables import VERSION, Base, Meta, Row

__all__ = ["Index", "Row"]
WAIT_S = 30.0  # for another process that writes the index


class Index:
    """The index of one records root. Safe for the server's threads; one writer at a time."""

    def __init__(self, root: Path, file: Path | str = ":memory:", keys: KeyStore | None = None) -> None:
        """`keys`: the site's, by which signatures are judged; None holds each signature only against itself."""
        self.root = Path(root)
        self.keys = keys
        self._registry: Registry = None
        self.file = file
        self.plans = PlanCache()
        self._lock = threading.Lock()
        self._folders: dict[str, int] | None = None
        self.engine = self._open()

    def _open(self) -> Engine:
        """The index, made where there is none: by one process at a time, since several may start at once."""
        if str(self.file) == ":memory:":
            return self._opened()
        try:
            Path(self.file).parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            with FileLock(f"{self.file}.lock", timeout=60, mode=0o600):
                return self._opened()
        except (OSError, Timeout) as error:
            raise StorageError("The register's index can't be made.", where=str(self.file)) from error

    def _opened(self) -> Engine:
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
        except OperationalError as error:  # locked, or the disk: what stands there may be somebody's index at work
            raise StorageError(
                "The register's index can't be used now.", where=str(self.file),
                try_next="Wait until the other program is done with it, and look at the disk's free space.",
            ) from error
        except DatabaseError as error:
            if str(self.file) == ":memory:":
                raise StorageError("The register's index can't be made.", where=str(self.file)) from error
            Path(self.file).unlink(missing_ok=True)  # not an index any more: it holds nothing that the records don't
            return self._opened()

    def db(self) -> Session:
        """A session to read with."""
        return Session(self.engine)

    def page(self, where: Sequence[Any], order: Sequence[Any], page: int, per_page: int) -> list[Row]:
        """One page of a list, detached. The names are sorted first and only then the rows read, since
        sorting ten
        thousand whole rows takes far longer."""
        with self.db() as db:
            names = list(
                db.scalars(
                    select(Row.session)
                    .where(*where)
                    .order_by(*order)
                    .limit(per_page)
                    .offset((page - 1) * per_page)
                )
            )
            light = select(Row).options(defer(Row.findings), defer(Row.step_ms))
            found = {row.session: row for row in db.scalars(light.where(Row.session.in_(names)))}
            db.expunge_all()
        return [found[name] for name in names if name in found]

    def refresh(self, told: Callable[[int, int], None] | None = None) -> int:
        """Read what is new or changed among the records, or judged by keys that changed since; how many were read.
        Names and sizes decide."""
        with self._lock:
            entries = self._entries()
            registry = self._registry = registry_of(self.keys)
            with self.db() as db:
                known = {
                    r.session: (r.size, r.mtime_ns, r.state)
                    for r in db.execute(select(Row.session, Row.size, Row.mtime_ns, Row.state))
                }
                signed = db.execute(select(Row.session, Row.signers, Row.judged).where(Row.signers != ""))
                stale = {r.session for r in signed if judged_by(r.signers, registry) != r.judged}
                here: set[str] = set()
                changed: list[tuple[Entry, int, int]] = []
                for entry in entries:
                    here.add(entry.session)
                    size, mtime = mark_of(entry.folder)
                    old = known.get(entry.session)
                    if (
                        old is None
                        or old[:2] != (size, mtime)
                        or entry.session in stale
                        or (old[2] in ("live", "open")
                        and old[2] != writing_state(entry.folder))
                    ):
                        changed.append((entry, size, mtime))
                for number, (entry, size, mtime) in enumerate(changed, 1):
                    db.merge(row_of(entry, size, mtime, self.plans, registry))
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
        if folders != self._folders or registry_of(self.keys) != self._registry:
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
            if mark_of(folder) != (size, mtime_ns) or writing_state(folder) != state:
                self.refresh_one(session)
                count += 1
        return count

    def refresh_one(self, session: str) -> None:
        """Read one record again now (after signing it)."""
        enclosure, _, name = session.partition("/")
        stamp, _, session_id = name.partition("-")
        entry = Entry(str(self.root.absolute()), enclosure, stamp, session_id)
        with self._lock, self.db() as db:
            db.merge(row_of(entry, *mark_of(entry.folder), self.plans, registry_of(self.keys)))
            db.commit()

    def check(self) -> list[str]:
        """Every row held against its record, read anew. Problems as sentences; empty means they agree."""
        problems: list[str] = []
        registry = registry_of(self.keys)
        with self.db() as db:
            rows = {row.session: row for row in db.scalars(select(Row))}
            for entry in self._entries():
                row = rows.pop(entry.session, None)
                if row is None:
                    problems.append(f"{entry.session} isn't in the index.")
                    continue
                fresh = row_of(entry, *mark_of(entry.folder), self.plans, registry)
                for column in Row.__table__.columns.keys():  # noqa: SIM118 - its names, not its columns
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


def _engine(file: Path | str) -> Engine:
    from sqlalchemy.pool import StaticPool

    if str(file) == ":memory:":
        return create_engine("sqlite://", poolclass=StaticPool, connect_args={"check_same_thread": False})
    engine = create_engine(f"sqlite:///{file}", connect_args={"timeout": WAIT_S})

    @event.listens_for(engine, "connect")
    def _set(connection: Any, _: Any) -> None:
        cursor = connection.cursor()
        cursor.execute("PRAGMA journal_mode=WAL")
        cursor.execute("PRAGMA synchronous=NORMAL")
        cursor.close()

    with open(file, "a", opener=lambda path, flags: os.open(path, flags, 0o600)):
        pass
    return engine
