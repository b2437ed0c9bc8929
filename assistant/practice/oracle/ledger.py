"""What the judge of a session writes down: its own ledger of what the record believes, and what it finds wrong."""

from __future__ import annotations

from dataclasses import dataclass, field

HEARING, FALSE_CLAIM, MISPLACED, DRYING, ENGINE = (
    "hearing_error", "false_claim", "misplaced", "unseen_drying", "engine_fault",
)
CLASSES = (HEARING, FALSE_CLAIM, MISPLACED, DRYING, ENGINE)


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing believed that wasn't so. `what` in plain words."""

    at_ms: int
    kind: str
    what: str


@dataclass(slots=True)
class Contact:
    agent: str
    step: str
    since_ms: int
    first_ms: int  # first stroke of the newest wetting, as far as was said


@dataclass(slots=True)
class Ledger:
    done: set[str] = field(default_factory=set)
    skipped: set[str] = field(default_factory=set)
    options: dict[str, bool] = field(default_factory=dict)
    openings: dict[str, str] = field(default_factory=dict)
    contacts: dict[str, Contact] = field(default_factory=dict)
    clean: set[str] = field(default_factory=set)
    cycles: dict[str, tuple[int, bool]] = field(default_factory=dict)  # claimed, complete
    broken: set[str] = field(default_factory=set)  # cycles that ran, were broken, and haven't been started again
    started: dict[str, int] = field(default_factory=dict)
    current: str = ""
    stroke_ms: int = -1
    asked: dict[str, int] = field(default_factory=dict)  # re-wet asked for
    yes_ends: list[int] = field(default_factory=list)  # ends of accepted confirming words
    branch: bool = False
