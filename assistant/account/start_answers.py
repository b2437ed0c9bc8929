"""What was answered at the start: it decides what the clean was, so it stands above everything else of a session."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from assistant.procedure.model.plan import Plan
from assistant.session.facts.base import Fact
from assistant.session.facts.session import OptionAnswered, OptionTakenBack


@dataclass(frozen=True, slots=True)
class StartAnswer:
    """One question and the answer that stood at the end. `drops`: what follows from it where a safeguard is left out,
    in the words that were read back, or ""."""

    question: str
    answer: str
    drops: str = ""


def start_answers(plan: Plan, facts: Sequence[Fact]) -> tuple[StartAnswer, ...]:
    """The questions in the plan's order, those that were answered and not taken back."""
    given: dict[str, bool] = {}
    for fact in facts:
        if isinstance(fact, OptionAnswered):
            given[fact.option] = fact.value
        elif isinstance(fact, OptionTakenBack):
            given.pop(fact.option, None)
    return tuple(
        StartAnswer(o.ask, "yes" if given[o.id] else "no", o.claim if o.read_back is given[o.id] else "")
        for o in plan.options if o.id in given
    )
