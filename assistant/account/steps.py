"""The steps of a session as they went: one row per beginning, then what was called for and never begun.

The one table that paper, pages and archive show: what was asked for in the words in which it was asked, how long it
took, how it was confirmed, and what came of it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

from assistant.account.names import find_step, step_name
from assistant.procedure.model.plan import ALL_CONTACTS, WAIT, Plan, Step
from assistant.session.facts import machine, steps, troubles
from assistant.session.facts.base import Fact
from assistant.session.lookup import holds, name_of
from assistant.session.state import State

# Longer than this times the expected, and by at least so much, is worth a look.
LONG_TIMES, LONG_MS = 2.0, 20_000

# What came of a beginning, in the words that are shown.
DONE, REDONE, SKIPPED, TAKEN_BACK, UNDONE = "done", "redone", "skipped", "taken back", "undone"
INTERRUPTED, NOT_ENDED, NOT_BEGUN = "interrupted", "not ended", "not begun"


@dataclass
class StepRow:
    """One beginning of a step. `number`: its place in the main line, or "+" for what a mishap or the core put in.
    `text`: as it was asked; `at_ms`: when it began, `ended_ms`: was confirmed, waited out or skipped; -1 where it
    never was; `expected_ms` 0: none known; `line`: where
    the beginning stands in the record, or 0."""

    number: str
    step: str
    name: str
    text: str
    kind: str
    branch: str
    at_ms: int
    ended_ms: int = -1
    took_ms: int = -1
    expected_ms: int = 0
    outcome: str = NOT_ENDED
    by: str = ""
    value: str = ""
    notes: list[str] = field(default_factory=list)
    deviated: bool = False
    line: int = 0

    @property
    def note_lines(self) -> list[str]:
        """How it was confirmed and what else is to be known, what was said twice once."""
        counts = Counter(filter(None, (self.by, self.branch, self.value, *self.notes)))
        return [text if count == 1 else f"{text} ({count} times)" for text, count in counts.items()]

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


def step_rows(
    facts: Sequence[Fact], plan: Plan | None, line_numbers: Sequence[int] = (), end: State | None = None
) -> list[StepRow]:
    """Every beginning in order; a move for the way it took. `line_numbers`: where in the record each fact stands;
    `end`: the state they fold to, by which steps are known that were called for and never begun."""
    rows: list[StepRow] = []
    current: dict[str, StepRow] = {}  # step -> its last row
    owed: set[str] = set()
    hands = plan.start_hands if plan else ""
    for number, fact in enumerate(facts):
        if isinstance(fact, steps.StepStarted):
            before = current.get(fact.step)
            if before is not None and before.outcome == NOT_ENDED:
                before.outcome = INTERRUPTED
            row = current[fact.step] = _begun(plan, fact, hands)
            row.line = line_numbers[number] if number < len(line_numbers) else 0
            rows.append(row)
        elif isinstance(fact, machine.HandsMoved):
            hands = fact.to
        elif isinstance(fact, troubles.Deviation) and rows:
            about = current.get(fact.about) or _by_surface(rows, plan, fact.about) or rows[-1]
            about.deviated = True
            about.notes.append(fact.text)
        elif isinstance(fact, steps.StepOwed):
            owed.add(fact.step)
            last = current.get(fact.step)
            if last is not None and last.outcome in (DONE, REDONE, TAKEN_BACK):
                last.outcome = TAKEN_BACK if last.outcome == TAKEN_BACK else UNDONE
                last.notes.append(fact.because)
        elif (row_of := current.get(getattr(fact, "step", ""))) is not None:
            _follow(row_of, fact, fact_again=row_of.step in owed)
    return rows + _not_begun(rows, plan, end)


# How it was confirmed, in words; by one spoken word is the rule and goes without saying.
_CONFIRMED = {"single": "", "read_back": "read back", "witness": "witnessed"}


def _follow(row: StepRow, fact: Fact, fact_again: bool) -> None:
    """What a later fact about a step says of its last beginning."""
    if isinstance(fact, steps.StepConfirmed | steps.WaitEnded | steps.StepSkipped):
        row.ended_ms, row.took_ms = fact.at_ms, fact.at_ms - row.at_ms
        row.outcome = SKIPPED if isinstance(fact, steps.StepSkipped) else REDONE if fact_again else DONE
        if isinstance(fact, steps.WaitEnded):
            row.took_ms = fact.waited_ms
        if isinstance(fact, steps.StepConfirmed):
            row.took_ms = fact.took_ms
            row.by = ", ".join(filter(None, (_CONFIRMED.get(fact.policy, fact.policy), "" if fact.source == "voice" else fact.source)))
            if fact.quick:
                row.notes.append("quicker than plausible")
    elif isinstance(fact, steps.CorrectionMade):
        row.outcome = TAKEN_BACK
    elif isinstance(fact, steps.WitnessGiven):
        row.notes.append(f"witness {fact.person}: {fact.statement}")
    elif isinstance(fact, steps.ValueAccepted):
        row.value = f"{fact.value} {fact.unit}".strip()
        if not fact.inside_limits:
            row.notes.append("outside its limits")
            row.deviated = True
    elif isinstance(fact, steps.CheckAnswered) and not fact.yes:
        row.notes.append("answered no")
    elif isinstance(fact, steps.ClaimQuestioned):
        row.notes.append("questioned: confirmed very soon")


def _begun(plan: Plan | None, fact: steps.StepStarted, hands: str) -> StepRow:
    mishap = plan.mishaps.get(fact.branch) if plan else None
    branch = mishap.title if mishap else fact.branch
    return _row(plan, fact.step, find_step(plan, fact.step, hands), branch, fact.at_ms, hands)


def _row(plan: Plan | None, step_id: str, step: Step | None, branch: str, at_ms: int, hands: str) -> StepRow:
    name = step_name(plan, step_id, hands)
    place = next((n for n, s in enumerate(plan.steps, 1) if s.id == step_id), 0) if plan else 0
    return StepRow(
        str(place or "+"), step_id, name, _text(plan, step) or name, step.kind if step else "", branch, at_ms,
        expected_ms=step.expected_ms if step else 0,
    )


def _text(plan: Plan | None, step: Step | None) -> str:
    if plan is None or step is None or step.say:
        return step.say if step else ""
    return f"Wait for {', '.join(name_of(plan, w) for w in step.wait_for if w != ALL_CONTACTS) or 'all surfaces'}."


def _not_begun(rows: list[StepRow], plan: Plan | None, end: State | None) -> list[StepRow]:
    if plan is None or end is None:
        return []
    begun = {row.step for row in rows}
    left = [_row(plan, s.id, s, "", -1, "") for s in plan.steps
            if holds(end, s) and s.id not in end.main.done and s.id not in begun]
    for row in left:
        row.outcome = NOT_BEGUN
    return left


def _by_surface(rows: list[StepRow], plan: Plan | None, surface: str) -> StepRow | None:
    if plan is None or surface not in plan.surfaces:
        return None
    for row in reversed(rows):
        step = find_step(plan, row.step)
        if step is not None and step.surface == surface:
            return row
    return None
