"""Check a record line by line: the first bad line, and what still holds before it."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, BinaryIO

from assistant.record.beside.named import NAMING, Named, problems_beside
from assistant.record.lines.chain import blank, digest_holds, digest_of, link_problem
from assistant.record.lines.envelope import AFTER_SEAL, OWN_KINDS, Line
from assistant.record.lines.merkle import RunningRoot
from assistant.record.lines.reading import Ending, read_lines
from assistant.record.lines.seal import seal_problem
from assistant.record.reader import Record
from assistant.record.signing.checking import SignatureCheck, check_signature
from assistant.record.site_log import SiteLog
from assistant.record.storage.file_store import open_record_file, record_file
from assistant.record.storage.paths import root_of_session


@dataclass
class VerifyReport:
    """What a check found.

    `first_bad_line`: its number in the file, or None. `holds_through`: the last line whose bytes are
    confirmed by what follows it (or by its own digest, or by the witness log). `intact`: nothing is wrong
    with what is there. `complete`: intact and sealed. `problems`: plain sentences. `after_seal`: lines after
    the seal. `paper`: entered late from paper."""

    path: str
    kind: str = ""
    lines: int = 0
    head: str = ""
    first_bad_line: int | None = None
    holds_through: int = 0
    sealed: bool = False
    after_seal: int = 0
    torn: bool = False
    witnessed: bool = False
    verdict: str = ""
    deep: bool | None = None
    paper: bool = False
    named: Named = field(default_factory=Named)
    signatures: list[SignatureCheck] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)

    @property
    def intact(self) -> bool:
        """Nothing is wrong with what is there."""
        return not self.problems

    @property
    def complete(self) -> bool:
        """Intact, sealed, and nothing missing that the seal or the witness log know of."""
        return self.intact and self.sealed

    def as_json(self) -> dict[str, Any]:
        """Plain values for --json."""
        plain = asdict(self)
        del plain["named"]
        return {**plain, "scans": sorted(self.named.scans), "intact": self.intact, "complete": self.complete}


@dataclass(frozen=True)
class DeepOutcome:
    """What the core made of a record's facts: digest of its end state, the lines it would speak,
    objections."""

    state_sha256: str
    spoken: tuple[str, ...] = ()
    problems: tuple[str, ...] = ()


def verify(
    path: Path | str, *, witness: SiteLog | bool | None = None, public_keys: dict[str, str] | None = None
) -> VerifyReport:
    """Check the record in a session folder or file; one line in memory at a time.

    `witness`: the site's log; None looks for it above the record, False goes without. `public_keys`: key id
    -> public key as hex; a signature by another key is then a problem. Raises RecordError when there is no
    file."""
    file = record_file(path).absolute()
    if witness is None or witness is True:
        witness = SiteLog(root_of_session(file.parent))
    marks: dict[int, str] = {}
    said: tuple[str, ...] = ()
    if witness and witness.exists:
        log = witness.check()
        said = log.problems
        marks = log.marks.get(f"{file.parent.parent.name}/{file.parent.name}", {})
    with open_record_file(file) as stream:
        report = verify_stream(stream, str(file), public_keys=public_keys, marks=marks)
    report.problems += [f"Witness log, {problem}." for problem in said]
    report.problems += problems_beside(file.parent, report.named)
    return report


def verify_stream(
    stream: BinaryIO,
    name: str = "",
    *,
    public_keys: dict[str, str] | None = None,
    marks: dict[int, str] | None = None,
) -> VerifyReport:
    """The same for bytes. `marks`: line number -> hash, as the witness log saw them."""
    return _Check(read_lines(stream), VerifyReport(name), public_keys, marks or {}).run()


def verify_read(record: Record, *, public_keys: dict[str, str] | None = None) -> VerifyReport:
    """The same for a record that was read already; its bytes aren't read again."""
    parts: Iterator[Line | Ending] = iter([*record.lines, record.ending])
    return _Check(parts, VerifyReport(str(record.path or "")), public_keys, {}).run()


class _Check:
    def __init__(
        self,
        parts: Iterator[Line | Ending],
        report: VerifyReport,
        keys: dict[str, str] | None,
        marks: dict[int, str],
    ) -> None:
        self.parts = parts
        self.report = report
        self.keys = keys
        self.marks = marks
        self.seen_through = 0
        report.witnessed = bool(marks)
        self.tree = RunningRoot()
        self.before: Line | None = None
        self.seal: Line | None = None

    def run(self) -> VerifyReport:
        report = self.report
        for part in self.parts:
            if isinstance(part, Ending):
                self._end(part)
                break
            if self._bad(part):
                break
            report.kind = report.kind or part.record
            report.lines, report.head = part.seq, part.sha256
            if part.seq == 1:
                report.paper = part.data.get("transcribed") is True
            # The link just checked confirms the line before; a digest confirms the line itself.
            if part.seq in self.marks:
                self.seen_through = part.seq
            confirmed = digest_holds(part) or part.seq in self.marks
            report.holds_through = part.seq if confirmed else part.seq - 1
            if part.kind == "record_sealed":
                self.seal = part
                report.sealed, report.verdict = True, str(part.data.get("verdict", ""))
            elif self.seal:
                report.after_seal += 1
            if part.kind in NAMING:
                report.named.add(part)
            self.tree.add(part.raw)
            self.before = part
        return report

    def _end(self, ending: Ending) -> None:
        report = self.report
        if ending.how == "malformed":
            self._problem(ending.line, ending.reason)
        elif ending.how == "torn":
            report.torn = True
            self._problem(ending.line, ending.reason)
        elif not report.lines:
            self._problem(1, "the file is empty")
        elif (seen := max(self.marks, default=0)) > report.lines:
            self._problem(report.lines + 1, f"is missing; the witness log saw {seen} lines")

    def _problem(self, line: int, what: str) -> bool:
        self.report.first_bad_line = line
        self.report.problems.append(f"Line {line}: {what}.")
        return True

    def _bad(self, line: Line) -> bool:
        before, number = self.before, self.report.lines + 1
        problem = link_problem(before, line, self.report.kind or line.record)
        if problem == "doesn't follow from the line before" and before and not self._only_prev_changed(line):
            return self._problem(
                before.seq, "was changed after it was written (the line after it names other bytes)"
            )
        if not problem and line.v > OWN_KINDS.get(line.kind, line.v):
            problem = "was written by a newer version of this program"
        if not problem and self.marks.get(line.seq, line.sha256) != line.sha256:
            # The chain up to here may have been made anew: only what the log saw is sure.
            self.report.holds_through = self.seen_through
            problem = "isn't the line that the witness log saw"
        if not problem and line.kind == "record_sealed" and not self.seal:
            problem = seal_problem(line, number - 1, self.tree)
            if problem:
                self.report.holds_through = self.seen_through
        if not problem and digest_holds(line) is False:
            problem = "was changed after it was written (its own digest is another)"
        if not problem and line.kind == "record_sealed":
            problem = "a second seal" if self.seal else ""
        elif not problem and self.seal and line.kind not in AFTER_SEAL:
            problem = "stands after the seal, where only signatures and withdrawals may"
        elif not problem and line.kind in AFTER_SEAL:
            if not self.seal:
                problem = "signs or withdraws before the seal"
            else:
                checked = check_signature(line, self.keys)
                self.report.signatures.append(checked)
                problem = checked.problem
        return self._problem(number, problem) if problem else False

    def _only_prev_changed(self, line: Line) -> bool:
        """Whether `line` would fit what confirms it if its `prev` were right: then it, not the line before
        it, is the bad one."""
        assert self.before
        mended = line.raw.replace(f'"prev":"{line.prev}"'.encode(), f'"prev":"{self.before.sha256}"'.encode())
        digest = line.data.get("digest")
        if isinstance(digest, str) and blank(line.raw, "digest", digest):
            return digest_of(mended, digest) == digest
        after = next(self.parts)
        return isinstance(after, Line) and after.prev == hashlib.sha256(mended).hexdigest()


def deep_verify(record: Record, fold: Callable[[Record], DeepOutcome]) -> list[str]:
    """Fold the record through the core again; returns what doesn't agree (empty: replay is proof).

    Compared: the digest of the end state against the seal's (where it holds one), and the lines the core
    would speak against the spoken lines in the record, which `fold` does itself and reports as problems."""
    outcome = fold(record)
    problems = list(outcome.problems)
    seal = record.seal
    kept = str(seal.data.get("state_sha256", "")) if seal else ""
    if kept and kept != outcome.state_sha256:
        problems.append("The replay ends in another state than the one that was sealed.")
    return problems
