"""What a static rule is, and what it finds."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from assistant.procedure.model.kinds import Node
from assistant.procedure.rules.walk import Context

ERROR, WARNING, NOTE = "error", "warning", "note"
COMMON = "common practice, no source"


@dataclass(frozen=True, slots=True, order=True)
class Finding:
    """One place where a rule is broken."""

    file: str
    line: int
    column: int
    rule: str
    severity: str
    message: str
    suggestion: str

    def as_dict(self) -> dict[str, object]:
        """The finding as `assistant check --json` prints it."""
        return {
            "rule": self.rule,
            "severity": self.severity,
            "file": self.file,
            "line": self.line,
            "column": self.column,
            "message": self.message,
            "suggestion": self.suggestion,
        }


Hit = tuple[Node, str, str, str]  # node, field, message, suggestion
Run = Callable[[Context], Iterable[Hit]]


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule: `sentence` says in plain words what must hold; `source` what it rests on."""

    id: str
    sentence: str
    severity: str
    source: str
    run: Run

    def as_dict(self) -> dict[str, str]:
        """The rule as `--list-rules --json` prints it."""
        return {"id": self.id, "sentence": self.sentence, "severity": self.severity, "source": self.source}


RULES: dict[str, Rule] = {}


def rule(rule_id: str, sentence: str, severity: str = ERROR, source: str = COMMON) -> Callable[[Run], Run]:
    """Registers a function that yields hits as the rule `rule_id`. Raises ValueError for a doubled id."""

    def register(run: Run) -> Run:
        if rule_id in RULES:
            raise ValueError(f"two rules are called {rule_id}")
        RULES[rule_id] = Rule(rule_id, sentence, severity, source, run)
        return run

    return register
