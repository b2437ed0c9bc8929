"""Values as a person writes them ("-67 Pa", "B756"), for what is shown; spoken they stand sign by sign ("-6 7 Pa")."""

from __future__ import annotations

import re

from assistant.language import spelling
from assistant.procedure.model.plan import Plan
from assistant.session.asking.prompts import sign_word, spelled
from assistant.session.facts import steps
from assistant.session.facts.base import Fact


class Written:
    """Follows the facts of one session; what was said of the value at hand is put as it is written.

    Only what the core itself makes of that value is exchanged, and only as a whole: no other number in a line is
    touched. The record keeps the line as it was spoken."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self._pairs: dict[str, str] = {}  # as spoken -> as written

    def __call__(self, fact: Fact, text: str) -> str:
        """`text`, which shows `fact`, with the value at hand as it is written."""
        if isinstance(fact, steps.StepStarted):
            self._pairs = {}
        elif isinstance(fact, steps.ValueHeard | steps.ValueDropped | steps.ValueAccepted):
            self._value(fact.step, fact.value)
        elif isinstance(fact, steps.SignsHeard):
            self._signs(fact.step, fact.signs)
        for spoken in sorted(self._pairs, key=len, reverse=True):
            text = self._pairs[spoken].join(re.split(rf"(?<![\w-]){re.escape(spoken)}(?!\w)", text, flags=re.IGNORECASE))
        return text

    def _value(self, step_id: str, value: str) -> None:
        step = self.plan.step(step_id)
        unit = f" {step.unit}" if step.value_kind == spelling.NUMBER and step.unit else ""
        self._pairs[spelled(value, step, self.plan.language)] = f"{value}{unit}"

    def _signs(self, step_id: str, signs: str) -> None:
        kind = self.plan.step(step_id).value_kind
        said = [sign_word(sign, kind, self.plan.language) for sign in signs]
        self._pairs = {" ".join(said): signs} if signs else {}
        if signs and signs[-1].isalnum():
            self._pairs[said[-1]] = signs[-1]
