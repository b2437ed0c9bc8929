"""What all parts of the judge share: the plan, the simulated enclosure, the ledger, and what was found so far."""

from __future__ import annotations

from typing import Any

from assistant.practice.enclosure.simulated import EnclosureSim
from assistant.practice.oracle.ledger import Finding, Ledger
from assistant.procedure.model.plan import ALL_CONTACTS, CLOSE, CYCLE, MOVE, OPEN, WAIT, Plan, Step


class Case:
    """`spoilt`: surfaces already reported: what follows from it isn't counted again."""

    def __init__(self, plan: Plan, world: EnclosureSim) -> None:
        self.plan, self.world = plan, world
        self.findings: list[Finding] = []
        self.ledger = Ledger(openings={o.id: o.at_start for o in plan.openings.values()})
        self.spoilt: set[str] = set()
        self.steps = {s.id: s for s in plan.steps}
        self.order = {s.id: n for n, s in enumerate(plan.steps)}
        for mishap in plan.mishaps.values():
            self.steps.update({s.id: s for s in mishap.steps})

    def add(self, at_ms: int, kind: str, what: str) -> None:
        """Report something believed that wasn't so."""
        self.findings.append(Finding(at_ms, kind, what))

    def step(self, step_id: str) -> Step | None:
        """The plan's step; for a generated one, what its id says."""
        if step_id in self.steps:
            return self.steps[step_id]
        if not step_id.startswith("bridge:"):
            return None
        kind, _, subject = step_id.removeprefix("bridge:").partition(":")
        made: dict[str, tuple[str, dict[str, Any]]] = {
            "open": (OPEN, {"opening": subject}), "close": (CLOSE, {"opening": subject}), "cycle": (CYCLE, {"cycle": subject}),
            "move": (MOVE, {"hands": subject}),
        }
        if kind == "wait":
            names = (ALL_CONTACTS,) if subject in ("", "*", "all") else (subject,)
            return Step(step_id, WAIT, "", wait_for=names)
        if kind in made:
            return Step(step_id, made[kind][0], "", **made[kind][1])
        return None

    def holds(self, step: Step) -> bool:
        """Whether a step is part of this clean, by the options answered."""
        return all(self.ledger.options.get(w.option, False) == w.equals for w in step.when)

    def due(self, step: Step) -> bool:
        """Whether a step of this clean is neither done nor skipped."""
        return self.holds(step) and step.id not in self.ledger.done and step.id not in self.ledger.skipped
