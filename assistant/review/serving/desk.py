"""Everything the pages share: where the records are, the index, the accounts, who is signed in, what runs
now."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, tzinfo
from pathlib import Path
from typing import Generic, TypeVar

from argon2 import PasswordHasher

from assistant.errors import GauntletError, RecordError
from assistant.procedure.loading.source import default_folder
from assistant.procedure.model.kinds import EnclosureFile
from assistant.record.signing.keys import Cost
from assistant.record.site_log import SiteLog, SiteLogReport
from assistant.record.verify import VerifyReport, verify, verify_stream
from assistant.review.deciding.site_rule import RulesFile, load_rules
from assistant.review.people.accounts import Accounts, RateLimit
from assistant.review.people.practice_signoff import EvidencePort
from assistant.review.people.visits import Visits
from assistant.review.register.entries import SiteEntries
from assistant.review.register.index import Index, Row
from assistant.review.register.register import Duty, duties, enclosure_files
from assistant.review.serving.live import Follower
from assistant.review.session.opened import Opened, SessionCache
from assistant.review.session.times import Clock, now_wall

FILES_FRESH_S = 10.0
INDEX_WHOLE_S = 60.0  # how often every record is looked at, also where nothing seems new
WITNESS_FRESH_S = 20.0  # how often the whole witness log is gone through, where it changes all the time


@dataclass(frozen=True)
class Setup:
    """Where things are. `home`: accounts and index; `procedures`: the site's files, None for the default;
    `keys`: None for `home`/keys;
    `index`: the index file, None for one in `home`. `wall`: the present moment. `refresh_s`: how often the
    index looks for new records. `speak`: text and language to the bytes of a WAV file, or None where there is no
    voice. `evidence`: of trainees, or None where none is kept."""

    records: Path
    home: Path
    procedures: Path | None = None
    keys: Path | None = None
    rules: Path | None = None
    index: Path | str | None = None
    hosts: tuple[str, ...] = ()
    tls: bool = False
    hasher: PasswordHasher | None = None
    key_cost: Cost | None = None
    clock: Callable[[], float] = time.monotonic
    wall: Callable[[], datetime] | None = None
    refresh_s: float = 3.0
    speak: Callable[[str, str], bytes] | None = None
    evidence: EvidencePort | None = None


T = TypeVar("T")


@dataclass
class _Kept(Generic[T]):
    value: T
    at_s: float = -1e9


class Desk:
    """Made once per server."""

    def __init__(self, setup: Setup) -> None:
        self.setup = setup
        self.clock_s = setup.clock
        self.rules: RulesFile = load_rules(setup.rules)
        self.clock = Clock(self.rules.zone)
        self.accounts = Accounts(setup.home, keys=setup.keys, hasher=setup.hasher, cost=setup.key_cost)
        self.visits = Visits(setup.clock)
        self.by_name = RateLimit(setup.clock, 8, 300.0)
        self.by_address = RateLimit(setup.clock, 25, 300.0)
        self.index = Index(
            setup.records,
            setup.index if setup.index is not None else setup.home / "register.sqlite",
            self.accounts.keys,
        )
        self.sessions = SessionCache()
        self.index.plans = self.sessions.plans
        self.follower = Follower(setup.records, self.sessions.plans)
        self.entries = SiteEntries(setup.records)
        self._witness = _Kept[SiteLogReport | None](None)
        self._witness_mark = -1
        self._whole_s = -1e9
        self._files = _Kept[dict[str, EnclosureFile]]({})
        self._checks: dict[Path, tuple[object, VerifyReport]] = {}
        self.refreshed_wall = ""

    @property
    def zone(self) -> tzinfo | None:
        """The site's zone."""
        return self.rules.zone

    def now(self) -> datetime:
        """The present, in the site's zone."""
        moment = self.setup.wall() if self.setup.wall else datetime.now(UTC)
        return moment.astimezone(self.zone) if self.zone else moment.astimezone()

    def now_wall(self) -> str:
        """The present as RFC 3339."""
        return self.now().isoformat(timespec="seconds") if self.setup.wall else now_wall(self.zone)

    def today(self) -> date:
        """Today where the site is."""
        return self.now().date()

    def refresh(self) -> int:
        """Bring the index, and what is known of the witness log, up to date."""
        now = self.clock_s()
        if now - self._whole_s >= INDEX_WHOLE_S:
            self._whole_s = now
            count = self.index.refresh()
        else:
            count = self.index.refresh_new()
        self._read_witness()
        self.refreshed_wall = self.now_wall()
        return count

    def folder_of(self, enclosure: str, session: str) -> Path:
        """A session's folder from the two names in an address. Raises RecordError for any that isn't one, so
        that
        no address leads out of the records."""
        root = self.setup.records
        for name in (enclosure, session):
            if not name or name[0] in "._" or any(c in name for c in "/\\\0:") or len(name) > 120:
                raise RecordError("There is no such session.")
        folder = root / enclosure / session
        try:
            inside = folder.resolve().is_relative_to(root.resolve())
            there = (folder / "record.jsonl").is_file()
        except (OSError, ValueError):
            raise RecordError("There is no such session.") from None
        if not inside or not there:
            raise RecordError("There is no such session.")
        return folder

    def open(self, enclosure: str, session: str) -> Opened:
        """The record of that name."""
        return self.sessions.open(self.folder_of(enclosure, session))

    def check(self, folder: Path) -> VerifyReport:
        """Whether the record verifies, against the witness log and the keys; kept while nothing changed."""
        told = (folder / "record.jsonl").stat()
        if self._witness_mark < 0:
            self._read_witness()
        keys = self.accounts.keys.public_keys()
        mark = (told.st_size, told.st_mtime_ns, self._witness_mark, frozenset(keys.items()))
        kept = self._checks.get(folder)
        if kept and kept[0] == mark:
            return kept[1]
        report = self._verify(folder, keys)
        if len(self._checks) > 500:
            self._checks.clear()
        self._checks[folder] = (mark, report)
        return report

    def _read_witness(self) -> None:
        """Go through the witness log where it changed, but not all the time: a long one takes a second. A
        page
        may know a log that is a little old; a signature never does, it goes through the log itself."""
        log = SiteLog(self.setup.records)
        mark = log.path.stat().st_mtime_ns if log.exists else 0
        now = self.clock_s()
        fresh = now - self._witness.at_s < WITNESS_FRESH_S
        if mark == self._witness_mark or (self._witness_mark > 0 and fresh):
            return
        self._witness = _Kept[SiteLogReport | None](log.check() if mark else None, now)
        self._witness_mark = mark

    def _verify(self, folder: Path, keys: dict[str, str]) -> VerifyReport:
        seen = self._witness.value
        if seen is None:
            return verify(folder, witness=False, public_keys=keys)
        with open(folder / "record.jsonl", "rb") as stream:
            report = verify_stream(
                stream,
                str(folder),
                public_keys=keys,
                marks=seen.marks.get(f"{folder.parent.name}/{folder.name}", {}),
            )
        report.problems += [f"Witness log, {problem}." for problem in seen.problems]
        return report

    def enclosures(self) -> dict[str, EnclosureFile]:
        """The site's enclosure files, read again every few seconds."""
        now = self.clock_s()
        if now - self._files.at_s > FILES_FRESH_S:
            self._files = _Kept(enclosure_files(self.setup.procedures or default_folder()), now)
        return self._files.value

    def duties(self) -> list[Duty]:
        """What is due, the most pressing first."""
        return duties(
            self.index, self.entries.all(), self.enclosures(), self.today(), self.zone, self.rules.warn_days,
            self._holds,
        )  # fmt: skip

    def _holds(self, row: Row) -> bool:
        """Whether a record that the index lists as done is still the one that the witness log saw."""
        try:
            return self.check(self.setup.records / row.session).complete
        except (GauntletError, OSError):
            return False
