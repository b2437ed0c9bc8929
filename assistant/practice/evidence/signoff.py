"""Ready to be signed off: the site's rule is a file; the evidence is the trainee's own practice records.

Nothing is signed here. The supervisor sees the evidence and signs; live runs can ask `readiness` first.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, field
from datetime import date, timedelta
from importlib import resources
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ConfigDict, Field

from assistant.errors import SiteFileError
from assistant.language import vocabulary as words
from assistant.practice.operator.persona import read_model

ASSESSMENT = "assessment"


class SignOffRule(BaseModel):
    """The site's rule; see rules/sign_off.yaml for the meaning of each."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    id: str
    title: str
    assessments_in_a_row: int = Field(ge=1, le=50)
    critical_mishaps: list[str] = []
    true_waits: int = Field(default=0, ge=0, le=50)
    tracer_wipe: bool = True
    tracer_valid_days: int = Field(default=180, ge=1, le=3660)
    procedures: list[str] = []

    @property
    def sha256(self) -> str:
        """Of what the file says, without comments and layout; what is left out isn't in it."""
        said = self.model_dump(exclude_unset=True)
        return hashlib.sha256(json.dumps(said, sort_keys=True, separators=(",", ":")).encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class Session:
    """One practice session as evidence. `record`: its folder; `seal_sha256`: of its file, so that what the
    supervisor sees is what was practised. `mishaps_ok`: those named in time."""

    record: str
    seal_sha256: str
    day: str
    procedure: str
    level: str
    verdict: str
    total: float
    critical: int
    mishaps_ok: tuple[str, ...] = ()
    true_waits: bool = False


@dataclass(frozen=True, slots=True)
class Tracer:
    """A qualified observer's statement about a wipe with a visible tracer."""

    observer: str
    day: str
    passed: bool
    remark: str = ""


@dataclass(frozen=True, slots=True)
class Demand:
    """One thing the rule asks for."""

    what: str
    met: bool
    evidence: tuple[str, ...]


@dataclass(slots=True)
class Readiness:
    """`ready` only if every demand is met."""

    trainee: str
    rule: str
    demands: list[Demand] = field(default_factory=list)

    @property
    def ready(self) -> bool:
        return bool(self.demands) and all(d.met for d in self.demands)

    def as_json(self) -> dict[str, Any]:
        return {"trainee": self.trainee, "rule": self.rule, "ready": self.ready, "demands": [asdict(d) for d in self.demands]}


def load_rule(path: Path | str | None = None) -> SignOffRule:
    """The site's rule, or the one that comes with the program. Raises SiteFileError with file and line."""
    if path is None:
        text = (resources.files("assistant.practice") / "rules" / "sign_off.yaml").read_text(encoding="utf-8")
        where = "sign_off.yaml"
    else:
        where = str(path)
        try:
            text = Path(path).read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError) as error:
            raise SiteFileError(f"The rule can't be read: {error}.", where=where) from error
    rule = read_model(SignOffRule, text, where, "rule for signing off")
    for word in rule.critical_mishaps:
        if word not in words.MISHAPS:
            line = next((n for n, one in enumerate(text.splitlines(), 1) if word in one), 1)
            raise SiteFileError(
                f"'{word}' is no mishap.", where=f"{where}:{line}", expected="one of " + ", ".join(words.MISHAPS)
            )
    return rule


def readiness(
    trainee: str, rule: SignOffRule, sessions: Sequence[Session], tracers: Iterable[Tracer], today: date,
) -> Readiness:
    """Hold the evidence, oldest first, against the rule."""
    found = Readiness(trainee, rule.id)
    sessions = [s for s in sessions if not rule.procedures or s.procedure in rule.procedures]
    assessed = [s for s in sessions if s.level == ASSESSMENT]
    row: list[Session] = []
    for session in assessed:
        row = [*row, session] if session.critical == 0 and session.verdict == "complete" else []
    found.demands.append(Demand(
        f"{rule.assessments_in_a_row} assessments in a row without a critical error",
        len(row) >= rule.assessments_in_a_row, tuple(s.record for s in row[-rule.assessments_in_a_row:]),
    ))
    for word in rule.critical_mishaps:
        met = [s.record for s in assessed if word in s.mishaps_ok]
        found.demands.append(Demand(f"{word.replace('_', ' ')} met in an assessment, in time", bool(met), tuple(met[-1:])))
    if rule.true_waits:
        true = [s.record for s in sessions if s.true_waits and s.verdict == "complete"]
        found.demands.append(Demand(
            f"{rule.true_waits} session{'s' * (rule.true_waits != 1)} with waits of true length", len(true) >= rule.true_waits, tuple(true[-rule.true_waits:])
        ))
    if rule.tracer_wipe:
        oldest = today - timedelta(days=rule.tracer_valid_days)
        good = [t for t in tracers if t.passed and oldest <= date.fromisoformat(t.day) <= today
                and t.observer.strip().lower() != trainee.strip().lower()]
        found.demands.append(Demand(
            f"a wipe with a visible tracer, seen by a qualified observer within {rule.tracer_valid_days} days",
            bool(good), tuple(f"{t.observer}, {t.day}" for t in good[-1:]),
        ))
    return found


def covered(rule: SignOffRule, sessions: Sequence[Session]) -> tuple[str, ...]:
    """The procedures that a sign-off is for: those the rule names, else those of the assessments in a row it counts."""
    row = [s for s in sessions if s.level == ASSESSMENT][-rule.assessments_in_a_row:]
    return tuple(sorted(set(rule.procedures) or {s.procedure for s in row if s.verdict == "complete" and not s.critical}))


class TraineeFile:
    """A trainee's evidence in one folder: sessions.jsonl, tracers.jsonl, refresh.json."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def add(self, session: Session) -> None:
        self._append("sessions.jsonl", asdict(session))

    def add_tracer(self, tracer: Tracer) -> None:
        self._append("tracers.jsonl", asdict(tracer))

    def sessions(self) -> list[Session]:
        """Only sessions whose record is still there, sealed as it was and of kind practice. Raises SiteFileError."""
        out = []
        for data in self._read("sessions.jsonl"):
            session = Session(**{**data, "mishaps_ok": tuple(data.get("mishaps_ok", ()))})
            if record_digest(Path(session.record)) == session.seal_sha256:
                out.append(session)
        return out

    def tracers(self) -> list[Tracer]:
        return [Tracer(**data) for data in self._read("tracers.jsonl")]

    def _append(self, name: str, data: dict[str, Any]) -> None:
        self.folder.mkdir(parents=True, exist_ok=True)
        with (self.folder / name).open("a", encoding="utf-8") as file:
            file.write(json.dumps(data, sort_keys=True) + "\n")

    def _read(self, name: str) -> list[dict[str, Any]]:
        path = self.folder / name
        if not path.exists():
            return []
        out = []
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
            try:
                data = json.loads(line)
                if not isinstance(data, dict):
                    raise ValueError("not an object")
            except ValueError as error:
                raise SiteFileError(f"This line isn't evidence: {error}.", where=f"{path}:{number}") from error
            out.append(data)
        return out


def record_digest(folder: Path) -> str:
    """SHA-256 of a practice record's file, or "" where it is gone or isn't a practice record in every line."""
    path = folder / "record.jsonl"
    try:
        data = path.read_bytes()
        lines = data.splitlines()
        if not lines or any(json.loads(line).get("record") != "practice" for line in lines):
            return ""
    except (OSError, ValueError, AttributeError):
        return ""
    return hashlib.sha256(data).hexdigest()
