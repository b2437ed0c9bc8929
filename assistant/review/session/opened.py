"""A record opened for reading: its plan as it was on the day, its facts, and the state at any instant."""

from __future__ import annotations

import hashlib
import threading
import time
from bisect import bisect_right
from collections import OrderedDict
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from assistant.errors import GauntletError, RecordError
from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import load_procedure
from assistant.procedure.model.kinds import in_language
from assistant.procedure.model.plan import Plan
from assistant.record.reader import Record, read_record
from assistant.review.session.digest import Digest, digest
from assistant.session import evolve, initial
from assistant.session.facts.base import Fact
from assistant.session.state import State
from assistant.session.wire import from_wire

SITE_FOLDER = "site"
_SNAPSHOT_EVERY = 256  # facts between two kept states: an instant is then at most so many folds away
_MOST_SITE_FILES = 500
_TICK_NS = 50_000_000  # more than any file system's clock takes from one time to the next


@dataclass
class Opened:
    """One record. `facts[i]` stands in line `lines[i]` of the file (from 1). `plan` is None where the site's
    files beside the record are missing or changed; `problem` then says so in plain words."""

    folder: Path
    record: Record
    plan: Plan | None
    facts: tuple[Fact, ...]
    lines: tuple[int, ...]
    problem: str = ""
    enclosure_name: str = ""  # as written, where the plan has it as spoken
    drawn: dict[str, Any] = field(
        default_factory=dict
    )  # what pages worked out from it; goes when it is read anew
    _times: list[int] = field(default_factory=list)
    _states: list[State] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._times = [fact.at_ms for fact in self.facts]
        self._lock = threading.Lock()

    @property
    def summary(self) -> Digest:
        """The record in short, worked out once."""
        found = self.drawn.get("digest")
        if found is None:
            found = self.drawn["digest"] = digest(self.facts, self.plan, self.record.kind)
        return found

    @property
    def end_ms(self) -> int:
        """Session time of the last line."""
        return self.record.lines[-1].t_ms if self.record.lines else 0

    def count_at(self, at_ms: int) -> int:
        """How many facts had been decided by `at_ms`."""
        return bisect_right(self._times, at_ms)

    def state_at(self, at_ms: int) -> State | None:
        """Where the core was at that instant: all facts up to then, folded by the core itself. None without a
        plan, or where the facts can't be folded."""
        if self.plan is None:
            return None
        count = self.count_at(at_ms)
        with self._lock:
            if not self._states:
                self._states.append(initial(self.plan))
            kept = min(count // _SNAPSHOT_EVERY, len(self._states) - 1)
            state = self._states[kept]
            try:
                for index in range(kept * _SNAPSHOT_EVERY, count):
                    state = evolve(state, self.facts[index])
                    if (index + 1) % _SNAPSHOT_EVERY == 0 and (index + 1) // _SNAPSHOT_EVERY == len(
                        self._states
                    ):
                        self._states.append(state)
            except (ValueError, KeyError, IndexError, AttributeError, TypeError, RuntimeError) as error:
                self.problem = self.problem or f"The facts can't be folded: {error}"
                return None
        return state


def open_session(folder: Path, plans: PlanCache | None = None) -> Opened:
    """Read a session folder. Raises RecordError where there is no record or no whole line in it."""
    record = read_record(folder)
    if not record.lines:
        raise RecordError(
            "The record holds no whole line.", where=str(folder), try_next="Run 'assistant verify' on it."
        )
    problem = ""
    plan: Plan | None = None
    written = ""
    try:
        plan, written = (plans or PlanCache()).plan_and_name(record, folder)
    except GauntletError as error:
        problem = error.what
    facts, lines, odd = _facts(record)
    return Opened(folder, record, plan, facts, lines, problem or odd, written)


def _facts(record: Record) -> tuple[tuple[Fact, ...], tuple[int, ...], str]:
    """The facts that can be read. A line of a kind this program doesn't know is skipped, and said."""
    facts: list[Fact] = []
    lines: list[int] = []
    odd = ""
    for line, fact in record.facts():
        try:
            facts.append(from_wire(fact["kind"], fact["v"], fact["data"], line.t_ms))
            lines.append(line.seq)
        except (ValueError, TypeError) as error:
            odd = odd or f"Line {line.seq} can't be read: {error}"
    return tuple(facts), tuple(lines), odd


class PlanCache:
    """Plans by the content of the site files beside a record: ten thousand sessions share a few."""

    def __init__(self, most: int = 64) -> None:
        self._most = most
        self._plans: OrderedDict[str, tuple[Plan, str]] = OrderedDict()
        self._lock = threading.Lock()

    def plan_of(self, record: Record, folder: Path) -> Plan:
        """The plan as it was on the day. Raises RecordError or SiteFileError."""
        return self.plan_and_name(record, folder)[0]

    def plan_and_name(self, record: Record, folder: Path) -> tuple[Plan, str]:
        """The plan, and the enclosure's name as written in its file. Raises as `plan_of`."""
        told = record.header
        procedure = told.get("procedure")
        if not isinstance(procedure, dict) or not isinstance(procedure.get("id"), str):
            raise RecordError("The record's first line doesn't name its procedure.", where=str(folder))
        site = folder / SITE_FOLDER
        language = named if isinstance(named := told.get("language"), str) else "en"
        key = f"{_content(site)}:{procedure['id']}:{language}"
        with self._lock:
            kept = self._plans.get(key)
            if kept is not None:
                self._plans.move_to_end(key)
        if kept is None:
            loaded = load_procedure(_plain_id(procedure["id"], folder), site)
            kept = compile_plan(loaded, language), in_language(loaded.enclosure.name, language)
            with self._lock:
                self._plans[key] = kept
                while len(self._plans) > self._most:
                    self._plans.popitem(last=False)
        plan, written = kept
        if plan.sha256 != procedure.get("sha256"):
            raise RecordError(
                "The site's files beside the record aren't the ones the session was run with.",
                where=str(site),
            )
        return _dressed(plan, told), written


def _plain_id(text: str, folder: Path) -> str:
    if any(mark in text for mark in ("/", "\\", "..")) or text.endswith((".yaml", ".yml")):
        raise RecordError("The record names its procedure in an odd way.", where=str(folder))
    return text


def _dressed(plan: Plan, told: dict[str, Any]) -> Plan:
    """The plan with what only the day knows: how commands were said, and the date."""
    vocabulary = told.get("vocabulary")
    spoken = {}
    if isinstance(vocabulary, dict):
        spoken = {
            word: forms[0]
            for word, forms in vocabulary.items()
            if isinstance(forms, list) and forms and isinstance(forms[0], str)
        }
    today = told.get("today")
    return replace(plan, spoken=spoken, today=today if isinstance(today, str) else "")


def _content(site: Path) -> str:
    """One digest over names and bytes of the site files beside a record."""
    if not site.is_dir():
        raise RecordError(
            "The site's files aren't beside the record.",
            where=str(site.parent),
            expected=f"a folder {SITE_FOLDER}/ with the procedure as it was",
        )
    digest = hashlib.sha256()
    for count, path in enumerate(sorted(site.rglob("*.yaml"))):
        if count >= _MOST_SITE_FILES:
            break
        if path.is_symlink() or not path.is_file():
            continue
        digest.update(path.relative_to(site).as_posix().encode() + b"\0" + path.read_bytes() + b"\0")
    return digest.hexdigest()


class SessionCache:
    """Opened records, the latest used kept; one that grew or was signed meanwhile is read again."""

    def __init__(self, most: int = 32) -> None:
        self._most = most
        self._kept: OrderedDict[Path, tuple[tuple[int, int], Opened]] = OrderedDict()
        self._lock = threading.Lock()
        self.plans = PlanCache()

    def open(self, folder: Path) -> Opened:
        """As `open_session`."""
        file = folder / "record.jsonl"
        try:
            told = file.stat()
        except OSError:
            raise RecordError("There is no record here.", where=str(folder)) from None
        mark = (told.st_size, told.st_mtime_ns)
        with self._lock:
            kept = self._kept.get(folder)
            if kept and kept[0] == mark:
                self._kept.move_to_end(folder)
                return kept[1]
        opened = open_session(folder, self.plans)
        if not opened.record.seal and time.time_ns() - told.st_mtime_ns < _TICK_NS:
            return opened  # more may come at the same tick of the file's clock, into room that is there already
        with self._lock:
            self._kept[folder] = (mark, opened)
            while len(self._kept) > self._most:
                self._kept.popitem(last=False)
        return opened
