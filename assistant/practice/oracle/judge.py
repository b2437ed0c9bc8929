"""The judge of a simulated session: what the record believes, held against what was really done.

It imports nothing of the core. It keeps a small ledger of its own, from the plan and from the facts' plain fields,
and asks the simulated enclosure. Whatever the core believed without reason is counted by class:

* `hearing_error`: a word was taken for another, or heard where none was said;
* `false_claim`: the operator said it was done and it wasn't;
* `misplaced`: the operator, who had let something pass, spoke of one thing and it was taken for another;
* `unseen_drying`: a surface dried early by chance, or was disturbed, and nobody said so;
* `engine_fault`: none of these explains it.

Its parts: `words`, `steps`, `times`; what they share: `case`, `ledger`.
"""

from __future__ import annotations

from typing import Any

from assistant.practice.enclosure.simulated import EnclosureSim
from assistant.practice.operator.mind import Said
from assistant.practice.oracle.case import Case
from assistant.practice.oracle.ledger import (
    CLASSES,
    ENGINE,
    Finding,
)
from assistant.practice.oracle.steps import StepsJudge
from assistant.practice.oracle.times import TimesJudge
from assistant.practice.oracle.words import WordsJudge
from assistant.procedure.model.plan import Plan


class Oracle:
    """Fed with every input given and every fact decided, as they come. `findings` is the outcome."""

    def __init__(
        self, plan: Plan, world: EnclosureSim, said: list[Said], confusions: list[tuple[str, str]],
        lapses: list[tuple[int, str]],
    ) -> None:
        self._case = Case(plan, world)
        self._words = WordsJudge(self._case, said, confusions, lapses)
        self._parts = (self._words, StepsJudge(self._case, self._words), TimesJudge(self._case, self._words))
        self._handlers: dict[str, Any] = {}

    @property
    def findings(self) -> list[Finding]:
        """What was believed and wasn't so, in order."""
        return self._case.findings

    def count(self) -> dict[str, int]:
        """Findings by class, every class named."""
        return {name: sum(f.kind == name for f in self.findings) for name in CLASSES}

    def given(self, given: Any) -> None:
        """An input handed to the core."""
        self._words.given(given)

    def fact(self, fact: Any) -> None:
        """A fact the core decided, in order."""
        kind = fact.KIND
        if kind not in self._handlers:
            self._handlers[kind] = next((h for part in self._parts if (h := getattr(part, f"on_{kind}", None))), None)
        handler = self._handlers[kind]
        if handler:
            handler(fact)

    def failed(self, at_ms: int, what: str) -> None:
        """The core broke, or never came to an end."""
        self._case.add(at_ms, ENGINE, what)
