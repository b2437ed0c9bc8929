"""Check a record line by line: the first bad line, and what still holds before it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, BinaryIO

from assistant.record.chain import blank, digest_holds, digest_of, link_problem
from assistant.record.envelope import AFTER_SEAL, OWN_KINDS, Line
from assistant.record.file_store import open_record_file, record_file
from assistant.record.merkle import RunningRoot
from assistant.record.paths import root_of_session
from assistant.record.reader import Record
from assistant.record.scan import Ending, scan
from assistant.record.seal import seal_problem
from assistant.record.signatures import SignatureCheck, check_signature
from assistant.record.witness_log import WitnessLog


@dataclass
class VerifyReport:
    """What a check found.

    `first_bad_line`: its number in the file, or None. `holds_through`: the last line whose bytes are confirmed
    by what follows it (or by its own digest, or by the witness log). `intact`: nothing is wrong with what is
    there. `complete`: intact and sealed. `problems`: plain sentences. `after_seal`: lines after the seal.
    """

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
        return {**asdict(self), "intact": self.intact, "complete": self.complete}


@dataclass(frozen=True)
class DeepOutcome:
    """What the core made of a record's facts: digest of its end state, the lines it would speak, objections."""

    state_sha256: str
    spoken: tuple[str, ...] = ()
    problems: tuple[str, ...] = ()


def verify(path: Path | str, *, witness: WitnessLog | bool | None = None,
           public_keys: dict[str, str] | None = None) -> VerifyReport:
    """Check the record in a session folder or file; one line in memory at a time.

    `witness`: the site's log; None looks for it above the record, False goes without. `public_keys`: key id
    -> public key as hex; a signature by another key is then a problem. Raises RecordError when there is no file.
    """
    file = record_file(path).absolute()
    with open_record_file(file) as stream:
        report = verify_stream(stream, str(file), public_keys=public_keys)
    if witness is None or witness is True:
        witness = WitnessLog(root_of_session(file.parent))
    if witness and witness.exists:
        _ask_witness(report, file, witness)
    return report


def verify_stream(stream: BinaryIO, name: str = "", *, public_keys: dict[str, str] | None = None) -> VerifyReport:
    """The same for bytes, without a witness log."""
    return _Check(scan(stream), VerifyReport(name), public_keys).run()


class _Check:
    def __init__(self, parts: Iterator[Line | Ending], report: VerifyReport, keys: dict[str, str] | None) -> None:
        self.parts = parts
        self.report = report
        self.keys = keys
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
            # The link just checked confirms the line before; a digest confirms the line itself.
            report.holds_through = part.seq if digest_holds(part) else part.seq - 1
            if part.kind == "record_sealed":
                self.seal = part
                report.sealed, report.verdict = True, str(part.data.get("verdict", ""))
            elif self.seal:
                report.after_seal += 1
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

    def _problem(self, line: int, what: str) -> bool:
        self.report.first_bad_line = line
        self.report.problems.append(f"Line {line}: {what}.")
        return True

    def _bad(self, line: Line) -> bool:
        before, number = self.before, self.report.lines + 1
        problem = link_problem(before, line, self.report.kind or line.record)
        if problem == "doesn't follow from the line before" and before and not self._only_prev_changed(line):
            return self._problem(before.seq, "was changed after it was written (the line after it names other bytes)")
        if not problem and line.v > OWN_KINDS.get(line.kind, line.v):
            problem = "was written by a newer version of this program"
        if not problem and digest_holds(line) is False:
            problem = "was changed after it was written (its own digest is another)"
        if not problem and line.kind == "record_sealed":
            problem = "a second seal" if self.seal else seal_problem(line, number - 1, self.tree)
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
        from hashlib import sha256

        return isinstance(after, Line) and after.prev == sha256(mended).hexdigest()


def _ask_witness(report: VerifyReport, file: Path, log: WitnessLog) -> None:
    session = f"{file.parent.parent.name}/{file.parent.name}"
    for problem in (state := log.check()).problems:
        report.problems.append(f"Witness log, {problem}.")
    seen = max(filter(None, (state.last_seen.get(session), log.seen(session))), default=None, key=lambda s: s[0])
    if seen is None:
        return
    report.witnessed = True
    if report.first_bad_line is not None:
        return
    count, head = seen
    if count > report.lines:
        report.first_bad_line = report.lines + 1
        report.problems.append(f"Line {report.lines + 1}: is missing; the witness log saw {count} lines.")
    elif count == report.lines and head != report.head:
        report.first_bad_line = report.lines
        report.problems.append(f"Line {count}: isn't the line that the witness log saw.")
    elif count == report.lines:
        report.holds_through = count


def deep_verify(record: Record, fold: Callable[[Record], DeepOutcome]) -> list[str]:
    """Fold the record through the core again; returns what doesn't agree (empty: replay is proof).

    Compared: the digest of the end state against the seal's (where it holds one), and the lines the core would
    speak against the spoken lines in the record, which `fold` does itself and reports as problems.
    """
    outcome = fold(record)
    problems = list(outcome.problems)
    seal = record.seal
    kept = str(seal.data.get("state_sha256", "")) if seal else ""
    if kept and kept != outcome.state_sha256:
        problems.append("The replay ends in another state than the one that was sealed.")
    return problems
