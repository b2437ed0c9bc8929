"""Open a finished, growing or broken record again: its plan, its facts, and the state they fold to."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from assistant.account.plans import plan_of
from assistant.errors import RecordError
from assistant.procedure.model.plan import Plan
from assistant.record.lines.envelope import Line
from assistant.record.lines.upcast import upcast
from assistant.record.reader import Record, read_record
from assistant.session import evolve, initial
from assistant.session.facts.base import Fact
from assistant.session.state import State
from assistant.session.wire import from_wire


@dataclass(frozen=True, slots=True)
class OpenedSession:
    """A record with its plan and facts, in order, before any folding."""

    record: Record
    plan: Plan
    facts: tuple[Fact, ...]

    def state(self) -> State:
        """Where the session stood at the end of the record."""
        state = initial(self.plan)
        for number, fact in enumerate(self.facts, 1):
            state = folded(state, fact, number)
        return state


def load_session(path: Path | str) -> OpenedSession:
    """Read a record and everything needed to fold it. Raises RecordError, SiteFileError."""
    record = some_lines(read_record(path), str(path))
    return opened_of(record)


def opened_of(record: Record) -> OpenedSession:
    """As `load_session`, of a record that was read already."""
    return OpenedSession(record, plan_of(record), tuple(fact_of(line) for line in record.lines if not line.own))


def some_lines(record: Record, where: str) -> Record:
    """The record, or RecordError where not even its first line is whole."""
    if not record.lines:
        raise RecordError(
            "The record holds no whole line.", where=where, expected="a session folder, or its record.jsonl",
            try_next="name another; if this should be a record, run assistant verify on it, and keep a copy",
        )
    return record


def fact_of(line: Line) -> Fact:
    """The core's fact in a line, lifted to today's words. Raises RecordError for one that can't be read."""
    try:
        fact = upcast(line.fact)
        return from_wire(fact["kind"], fact["v"], fact["data"], line.t_ms)
    except (ValueError, TypeError) as error:
        raise RecordError(
            f"Line {line.seq} can't be read: {error}.", try_next="assistant verify shows what still holds",
        ) from error


def folded(state: State, fact: Fact, number: int) -> State:
    """As `evolve`. Raises RecordError where the `number`-th fact can't follow: such a record was made otherwise, or
    changed."""
    try:
        return evolve(state, fact)
    except (ValueError, KeyError, IndexError, TypeError, AttributeError, RuntimeError) as error:
        raise RecordError(
            f"Fact {number} ({fact.KIND}) can't follow from those before it.",
            try_next="assistant verify shows what still holds",
        ) from error
