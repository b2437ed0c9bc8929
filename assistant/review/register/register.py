"""The register: per enclosure, what was done when and what is due. `calc.due` works the dates out.

Pure once the rows are read: index rows, entries and enclosure files in, duties out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, tzinfo
from functools import partial
from pathlib import Path

from sqlalchemy import select

from assistant.calc.due import (
    DUE_SOON,
    DUE_TODAY,
    NEVER_DONE,
    OVERDUE,
    SOURCES,
    Due,
    Interval,
    due_status,
    longest_published_days,
)
from assistant.errors import GauntletError
from assistant.procedure.loading.source import Site
from assistant.procedure.model.enclosure import EnclosureFile
from assistant.record.signing.keys import KeyStore
from assistant.record.site_log import SiteLog
from assistant.record.storage.file_store import FILE_NAME, open_record_file
from assistant.record.verify import verify_stream
from assistant.review.deciding.decisions import REJECTED
from assistant.review.people.accounts import KEYS
from assistant.review.register.entries import DONE, SiteEntry
from assistant.review.register.index import Index, Row
from assistant.review.session.times import parse_wall

NAMES = {
    "light": "Light clean",
    "rigorous": "Rigorous clean",
    "under_tray": "Under-tray clean",
    "sporicidal": "Sporicidal clean",
    "glove_change": "Glove change",
    "sleeve_change": "Sleeve change",
    "leak_test": "Leak test",
    "certification": "Certification",
}
# A rigorous clean does everything a light one does (a judgement: the site's procedures are built that way).
COVERS = {"light": ("light", "rigorous")}
PRESSING = (OVERDUE, DUE_TODAY, NEVER_DONE, DUE_SOON)


@dataclass(frozen=True)
class Duty:
    """One duty of one enclosure. `interval_days`: the site's; `last`: when last done, RFC 3339, or "";
    `session`: the
    record of it, or ""; `reviewed`: that a final decision stands; `finding`: the interval against the
    published one."""

    enclosure: str
    enclosure_name: str
    purpose: str
    name: str
    interval_days: int
    last: str
    by: str
    session: str
    reviewed: bool
    due: Due
    finding: str = ""

    @property
    def order(self) -> tuple[int, int]:
        """The most pressing first."""
        rank = {OVERDUE: 0, NEVER_DONE: 1, DUE_TODAY: 2, DUE_SOON: 3}.get(self.due.status, 4)
        return rank, self.due.days_left


def enclosure_files(folder: Path) -> dict[str, EnclosureFile]:
    """The site's enclosure files that can be read, by id."""
    site = Site(folder)
    found = {}
    for name, path in sorted(site.names("enclosure").items()):
        try:
            model = site.read(path, "enclosure")
        except GauntletError:
            continue
        if model is not None:
            found[name] = model
    return found


def duties(
    index: Index,
    entries: Sequence[SiteEntry],
    files: dict[str, EnclosureFile],
    today: date,
    zone: tzinfo | None,
    warn_days: int,
    holds: Callable[[Row], bool] | None = None,
) -> list[Duty]:
    """Every duty that an enclosure file gives an interval for, the most pressing first. `holds`: as `last_done`."""
    found: list[Duty] = []
    for enclosure, file in files.items():
        last = last_done(index, enclosure, holds)
        for purpose in type(file.intervals).model_fields:
            days = getattr(file.intervals, purpose, None)
            if days is None or purpose not in NAMES:
                continue
            whole = max(1, int(days))
            moment, by, session, reviewed = _latest(purpose, enclosure, last, entries)
            when = parse_wall(moment)
            day = (when.astimezone(zone) if zone else when).date() if when else None
            found.append(
                Duty(
                    enclosure,
                    _name(file),
                    purpose,
                    NAMES[purpose],
                    whole,
                    moment,
                    by,
                    session,
                    reviewed,
                    due_status(min(day, today) if day else None, Interval(days=whole), today, warn_days),
                    _finding(file.category, purpose, whole),
                )
            )
    found.sort(key=lambda duty: duty.order)
    return found


def overdue(found: Iterable[Duty], enclosure: str) -> list[Duty]:
    """What of an enclosure is overdue: spoken at the next start, and no fit-for-use tag until it is done."""
    return [d for d in found if d.enclosure == enclosure and d.due.status == OVERDUE]


def overdue_now(
    records: Path, home: Path, enclosure: str, today: date, procedures: Path | None = None, keys: Path | None = None
) -> list[Duty]:
    """The same, read from disk: for whoever starts a session or prints a tag. Brings the index up to date
    first. `keys`: the site's, by which refusals and releases are judged; None for the home's."""
    from assistant.procedure.loading.source import default_folder
    from assistant.review.register.entries import SiteEntries

    index = Index(records, home / "register.sqlite", KeyStore(keys or home / KEYS))
    try:
        index.refresh()
        files = {k: v for k, v in enclosure_files(procedures or default_folder()).items() if k == enclosure}
        marks = SiteLog(records).check().marks
        holds = partial(_holds_by, records, marks)
        return overdue(duties(index, SiteEntries(records).all(), files, today, None, 0, holds), enclosure)
    finally:
        index.engine.dispose()


def _holds_by(records: Path, marks: dict[str, dict[int, str]], row: Row) -> bool:
    """Whether a record is still the one that the witness log saw."""
    try:
        with open_record_file(records / row.session / FILE_NAME) as stream:
            return verify_stream(stream, marks=marks.get(row.session, {})).complete
    except (GauntletError, OSError):
        return False


def last_done(index: Index, enclosure: str, holds: Callable[[Row], bool] | None = None) -> dict[str, Row]:
    """Per purpose the newest live session that ended complete and wasn't refused by a supervisor.

    The index lists as sealed only what holds by itself. `holds` asks what it can't know, the witness log: one that
    it says no to is passed over for the next older."""
    found: dict[str, Row] = {}
    with index.db() as db:
        for purpose in NAMES:
            found_rows = db.scalars(
                select(Row)
                .where(
                    Row.enclosure == enclosure,
                    Row.purpose == purpose,
                    Row.kind == "live",
                    Row.state == "sealed",
                    Row.verdict == "complete",
                    Row.decision != REJECTED,
                )
                .order_by(Row.ended_utc.desc())
                .execution_options(yield_per=4)  # nearly always the first is the one: never read ten thousand
            )
            row = next((r for r in found_rows if holds is None or holds(r)), None)
            if row is not None:
                db.expunge(row)
                found[purpose] = row
    return found


def _latest(
    purpose: str, enclosure: str, last: dict[str, Row], entries: Sequence[SiteEntry]
) -> tuple[str, str, str, bool]:
    choices: list[tuple[str, str, str, bool]] = []
    for covered in COVERS.get(purpose, (purpose,)):
        row = last.get(covered)
        if row is not None:
            choices.append((row.ended_local, row.technician, row.session, row.decided))
    for entry in entries:
        if entry.what == DONE and entry.enclosure == enclosure and entry.name == purpose:
            choices.append((entry.at, entry.by, "", True))
    timed = [(moment.timestamp(), c) for c in choices if (moment := parse_wall(c[0])) is not None]
    return max(timed)[1] if timed else ("", "", "", False)


def _finding(category: int | None, purpose: str, days: int) -> str:
    longest = longest_published_days(category or 0, purpose)
    if longest is None or days <= longest:
        return ""
    return (
        f"The site's interval of {days} days is longer than the published {longest} "
        f"{'day' if longest == 1 else 'days'} ({SOURCES.get(purpose, 'published figure')})."
    )


def _name(file: EnclosureFile) -> str:
    from assistant.procedure.model.kinds import in_language

    return in_language(file.name, "en")


@dataclass(frozen=True)
class Affected:
    """What hangs on a clean that isn't accepted: from the last accepted one to the next, and what was made
    then.
    `since`/`until`: RFC 3339; `since_session`: "" when none was ever accepted; `until` "" means still
    open."""

    since: str
    since_session: str
    until: str
    until_session: str
    preparations: tuple[SiteEntry, ...]


def affected(index: Index, row: Row, entries: Sequence[SiteEntry]) -> Affected:
    """The interval that a clean which doesn't stand leaves uncovered, with the preparations entered in it."""
    purposes = COVERS.get(row.purpose, (row.purpose,))
    with index.db() as db:
        good = (
            Row.enclosure == row.enclosure,
            Row.purpose.in_(purposes),
            Row.kind == "live",
            Row.decision.in_(("accepted", "accepted_with_remark")),
            Row.session != row.session,
        )
        # Only what the index itself holds is asked for, so that no row need be read.
        before = db.execute(
            select(Row.ended_utc, Row.session)
            .where(*good, Row.ended_utc <= row.started_utc)
            .order_by(Row.ended_utc.desc())
            .limit(1)
        ).first()
        after = db.execute(
            select(Row.started_utc, Row.session)
            .where(*good, Row.started_utc >= row.ended_utc)
            .order_by(Row.started_utc)
            .limit(1)
        ).first()
    since, since_session = before or ("", "")
    until, until_session = after or ("", "")
    first, last = parse_wall(since), parse_wall(until)
    made = tuple(
        e
        for e in entries
        if e.what == "preparation"
        and e.enclosure == row.enclosure
        and (moment := parse_wall(e.at)) is not None
        and (first is None or moment >= first)
        and (last is None or moment <= last)
    )
    return Affected(since, since_session, until, until_session, made)
