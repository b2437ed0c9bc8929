"""What a session came to, counted from its facts: for the summary on screen and in JSON."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from assistant.session.facts import contacts, lines, machine, session, steps, troubles
from assistant.session.facts.base import Fact


@dataclass(slots=True)
class Tally:
    """Counts. `waited_ms`: time with nothing to do but wait. `texts`: every deviation's own words."""

    steps_done: int = 0
    heard: int = 0
    refused: int = 0
    waits: int = 0
    rewets: int = 0
    corrections: int = 0
    mishaps: int = 0
    deviations: int = 0
    waited_ms: int = 0
    ended_ms: int = 0
    verdict: str = ""
    left_open: tuple[str, ...] = ()
    texts: list[tuple[int, str]] = field(default_factory=list)


def tally(facts: Iterable[Fact]) -> Tally:
    """Count the facts of one session."""
    t = Tally()
    for fact in facts:
        t.ended_ms = max(t.ended_ms, fact.at_ms)
        if isinstance(fact, steps.StepConfirmed):
            t.steps_done += 1
        elif isinstance(fact, lines.Heard):
            if fact.accepted:
                t.heard += 1
            else:
                t.refused += 1
        elif isinstance(fact, contacts.ContactCompleted | machine.CycleCompleted):
            t.waits += 1
        elif isinstance(fact, contacts.RewetConfirmed):
            t.rewets += 1
        elif isinstance(fact, steps.CorrectionMade):
            t.corrections += 1
        elif isinstance(fact, troubles.BranchEntered):
            t.mishaps += 1
        elif isinstance(fact, troubles.Deviation):
            t.deviations += 1
            t.texts.append((fact.at_ms, fact.text))
        elif isinstance(fact, steps.WaitEnded):
            t.waited_ms += fact.waited_ms
        elif isinstance(fact, session.VerdictReached):
            t.verdict, t.left_open = fact.verdict, fact.left_open
    return t
