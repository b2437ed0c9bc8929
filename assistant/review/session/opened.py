"""A record opened for reading: its plan as it was on the day, its facts, and the state at any instant."""

from __future__ import annotations

import threading
import time
from bisect import bisect_right
from collections import OrderedDict
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from assistant.account.plans import PlanCache
from assistant.account.reading import fact_of, folded, some_lines
from assistant.errors import GauntletError, RecordError
from assistant.procedure.model.plan import Plan
from assistant.record.reader import Record, read_record
from assistant.review.session.digest import Digest, digest
from assistant.session import initial
from assistant.session.facts.base import Fact
from assistant.session.state import State

_SNAPSHOT_EVERY = 256  # facts between two kept states: an instant is then at most so many folds away
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
                    state = folded(state, self.facts[index], index + 1)
                    if (index + 1) % _SNAPSHOT_EVERY == 0 and (index + 1) // _SNAPSHOT_EVERY == len(
                        self._states
                    ):
                        self._states.append(state)
            except RecordError as error:
                self.problem = self.problem or error.what
                return None
        return state


def open_session(folder: Path, plans: PlanCache | None = None) -> Opened:
    """Read a session folder. Raises RecordError where there is no record or no whole line in it."""
    record = some_lines(read_record(folder), str(folder))
    problem = ""
    plan: Plan | None = None
    written = ""
    try:
        plan, written = (plans or PlanCache()).plan_and_name(record)
    except GauntletError as error:
        problem = error.what
    facts, lines, odd = _facts(record)
    return Opened(folder, record, plan, facts, lines, problem or odd, written)


def _facts(record: Record) -> tuple[tuple[Fact, ...], tuple[int, ...], str]:
    """The facts that can be read. A line of a kind this program doesn't know is skipped, and said."""
    facts: list[Fact] = []
    lines: list[int] = []
    odd = ""
    for line in record.lines:
        if line.own:
            continue
        try:
            facts.append(fact_of(line))
            lines.append(line.seq)
        except RecordError as error:
            odd = odd or error.what
    return tuple(facts), tuple(lines), odd


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
