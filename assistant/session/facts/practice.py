"""What only practice asks and live work never does. A record of another kind that holds one of these can't be folded."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from assistant.session.facts.base import Count, Fact, Id

PRACTICE = "practice"  # the kind of session that may hold these


@dataclass(frozen=True, slots=True)
class NextRecalled(Fact):
    """Before a step was told, the trainee was asked what comes next. `choices`: as they were shown, numbered from 1;
    `right`: the number asked for; `chosen`: the number given, 0 for none."""

    KIND: ClassVar[str] = "next_recalled"
    step: Id
    choices: tuple[str, ...]
    right: Count
    chosen: Count
