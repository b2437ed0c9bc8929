"""Read a record back: its lines as far as they are whole, and how the file ended."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from assistant.errors import RecordError
from assistant.record.lines.chain import link_problem
from assistant.record.lines.envelope import AFTER_SEAL, OWN_KINDS, Line
from assistant.record.lines.reading import Ending, read_lines
from assistant.record.lines.upcast import Upcaster, upcast
from assistant.record.storage.file_store import open_record_file, record_file
from assistant.record.storage.store import LineStore


@dataclass
class Record:
    """A record as read. `lines`: whole lines, in order, up to the first that is malformed or out of the
    chain.

    `ending`: end_of_file, torn or malformed. `problems`: plain sentences, empty when all is well.
    """

    path: Path | None
    lines: list[Line]
    ending: Ending
    problems: list[str] = field(default_factory=list)

    @property
    def kind(self) -> str:
        """live, practice, demo or script."""
        return self.lines[0].record if self.lines else ""

    @property
    def folder(self) -> Path | None:
        """The session's folder."""
        return self.path.parent if self.path else None

    @property
    def header(self) -> dict[str, Any]:
        """Who, where, what and with what: the data of the opening line."""
        return self.lines[0].data if self.lines and self.lines[0].kind == "record_opened" else {}

    @property
    def seal(self) -> Line | None:
        """The seal's line, or None while the record is open."""
        for line in reversed(self.lines):
            if line.kind == "record_sealed":
                return line
            if line.kind not in AFTER_SEAL:
                return None
        return None

    @property
    def after_seal(self) -> list[Line]:
        """Signatures and withdrawals."""
        seal = self.seal
        return [line for line in self.lines if seal and line.seq > seal.seq]

    @property
    def rules(self) -> int:
        """The version of the core's rules that the record was made under."""
        return self.lines[0].rules if self.lines else 0

    @property
    def session(self) -> str:
        """Its name in the witness log: enclosure/session."""
        return f"{self.path.parent.parent.name}/{self.path.parent.name}" if self.path else ""

    def facts(
        self, steps: Mapping[tuple[str, int], Upcaster] | None = None
    ) -> Iterator[tuple[Line, dict[str, Any]]]:
        """The core's facts in order, each with its line, lifted to the newest version of their words."""
        for line in self.lines:
            if not line.own:
                yield line, upcast(line.fact, steps)


def read_record(path: Path | str) -> Record:
    """Read the record in a session folder or file. Raises RecordError only where there is no such file;
    whatever is wrong inside is said in the result."""
    file = record_file(path).absolute()
    with open_record_file(file) as stream:
        lines, ending, problems = _collect(read_lines(stream))
    return Record(file, lines, ending, problems)


def read_store(store: LineStore) -> Record:
    """The same from any store."""
    with store.stream() as stream:
        lines, ending, problems = _collect(read_lines(stream))
    return Record(None, lines, ending, problems)


def require_whole(record: Record) -> Record:
    """The record, or RecordError naming the first thing that is wrong with it (a torn tail is no such
    thing)."""
    if not record.lines:
        raise RecordError(
            "The record holds no whole line, so the session had not begun.",
            where=str(record.path or ""),
            expected="a session folder, or its record.jsonl",
            try_next="Name another. If this should be a record, run 'assistant verify' on it, and keep a copy.",
        )
    if record.problems:
        raise RecordError(
            record.problems[0],
            where=str(record.path or ""),
            try_next="Run 'assistant verify' on it to see what still holds.",
        )
    return record


def _collect(parts: Iterator[Line | Ending]) -> tuple[list[Line], Ending, list[str]]:
    lines: list[Line] = []
    problems: list[str] = []
    for part in parts:
        if isinstance(part, Ending):
            if part.how == "malformed":
                problems.append(f"Line {part.line} can't be read: {part.reason}.")
            return lines, part, problems
        problem = link_problem(lines[-1] if lines else None, part, lines[0].record if lines else part.record)
        if not problem and part.v > OWN_KINDS.get(part.kind, part.v):
            problem = "it was written by a newer version of this program"
        if problem:
            problems.append(f"Line {len(lines) + 1}: {problem}.")
            offset = sum(len(line.raw) + 1 for line in lines)
            return lines, Ending("malformed", offset, len(lines) + 1, problem), problems
        lines.append(part)
    raise AssertionError("reading ends with an Ending")
