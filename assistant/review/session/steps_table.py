"""The step list: what was expected, how long it really took, how it was confirmed, what came of it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

from assistant.account.names import find_step, step_name
from assistant.procedure.model.plan import WAIT, Plan
from assistant.session.facts import machine, steps, troubles
from assistant.session.facts.base import Fact

# Longer than this times the expected, and by at least so much, is worth a look.
LONG_TIMES, LONG_MS = 2.0, 20_000


@dataclass
class StepRow:
    """One passage through a step. `outcome`: done, skipped, taken back, again (owed later), or open.
    `expected_ms` 0: none known. `at_ms`: when it began; `line`: where that stands in the record, or 0."""

    number: int
    step: str
    name: str
    text: str
    kind: str
    branch: str
    at_ms: int
    took_ms: int = -1
    expected_ms: int = 0
    outcome: str = "open"
    by: str = ""
    value: str = ""
    notes: list[str] = field(default_factory=list)
    deviated: bool = False
    line: int = 0

    @property
    def note_lines(self) -> list[str]:
        """The notes, what was said twice once."""
        return [
            text if count == 1 else f"{text} ({count} times)" for text, count in Counter(self.notes).items()
        ]

    @property
    def slow(self) -> bool:
        """Much longer than expected (waits are as long as they are)."""
        return bool(
            self.kind != WAIT
            and self.expected_ms
            and self.took_ms > LONG_TIMES * self.expected_ms
            and self.took_ms - self.expected_ms > LONG_MS
        )

    @property
    def share(self) -> float:
        """Time taken as a share of the expected, for the bar; 0 where unknown."""
        return self.took_ms / self.expected_ms if self.expected_ms and self.took_ms >= 0 else 0.0


def step_rows(facts: Sequence[Fact], plan: Plan | None, line_numbers: Sequence[int] = ()) -> list[StepRow]:
    """Every passage in the order it began; a move for the way it took. `line_numbers`: where in the record each fact
    stands."""
    rows: list[StepRow] = []
    current: dict[str, StepRow] = {}
    hands = plan.start_hands if plan else ""
    for number, fact in enumerate(facts):
        if isinstance(fact, steps.StepStarted):
            row = _row(plan, fact, len(rows) + 1, hands)
            row.line = line_numbers[number] if number < len(line_numbers) else 0
            before = current.get(fact.step)
            if before and before.outcome == "open" and rows and rows[-1] is before:
                continue
            rows.append(row)
            current[fact.step] = row
        elif isinstance(fact, steps.StepConfirmed | steps.WaitEnded | steps.StepSkipped):
            if fact.step not in current:
                continue
            row = current[fact.step]
            if isinstance(fact, steps.StepConfirmed):
                row.outcome, row.took_ms = "done", fact.took_ms
                row.by = _by(fact, row)
                if fact.quick:
                    row.notes.append("quicker than plausible")
            elif isinstance(fact, steps.WaitEnded):
                row.outcome, row.took_ms = "done", fact.waited_ms
            else:
                row.outcome, row.took_ms = "skipped", fact.at_ms - row.at_ms
        elif isinstance(fact, machine.HandsMoved):
            hands = fact.to
        elif isinstance(fact, steps.CorrectionMade) and fact.step in current:
            current[fact.step].outcome = "taken back"
        elif isinstance(fact, steps.StepOwed) and fact.step in current:
            row = current[fact.step]
            row.outcome = "again"
            row.notes.append(fact.because)
        elif isinstance(fact, steps.WitnessGiven) and fact.step in current:
            current[fact.step].notes.append(f"witness {fact.person}: {fact.statement}")
        elif isinstance(fact, steps.ValueAccepted) and fact.step in current:
            row = current[fact.step]
            row.value = f"{fact.value} {fact.unit}".strip()
            if not fact.inside_limits:
                row.notes.append("outside its limits")
                row.deviated = True
        elif isinstance(fact, steps.CheckAnswered) and fact.step in current and not fact.yes:
            current[fact.step].notes.append("answered no")
        elif isinstance(fact, steps.ClaimQuestioned) and fact.step in current:
            current[fact.step].notes.append("questioned: confirmed very soon")
        elif isinstance(fact, troubles.Deviation) and rows:
            about = current.get(fact.about) or _by_surface(rows, plan, fact.about) or rows[-1]
            about.deviated = True
            about.notes.append(fact.text)
    return rows


def _row(plan: Plan | None, fact: steps.StepStarted, number: int, hands: str) -> StepRow:
    step = find_step(plan, fact.step, hands)
    branch = ""
    if fact.branch:
        mishap = plan.mishaps.get(fact.branch) if plan else None
        branch = mishap.title if mishap else fact.branch
    return StepRow(
        number,
        fact.step,
        step_name(plan, fact.step, hands),
        step.say if step else "",
        step.kind if step else "",
        branch,
        fact.at_ms,
        expected_ms=step.expected_ms if step else 0,
    )


def _by_surface(rows: list[StepRow], plan: Plan | None, surface: str) -> StepRow | None:
    if plan is None or surface not in plan.surfaces:
        return None
    for row in reversed(rows):
        step = find_step(plan, row.step)
        if step is not None and step.surface == surface:
            return row
    return None


_POLICIES = {"single": "", "read_back": "read back", "witness": "witnessed"}


def _by(fact: steps.StepConfirmed, row: StepRow) -> str:
    parts = [
        _POLICIES.get(fact.policy, fact.policy),
        "" if fact.source in ("voice", "script", "board") else fact.source,
    ]
    return ", ".join(part for part in parts if part)
