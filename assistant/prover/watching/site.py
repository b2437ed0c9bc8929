"""What the site's files say about the thing at hand: its shape, its conditions, what a mishap spoils there."""

from __future__ import annotations

from assistant.procedure.model.plan import CLOSE, CYCLE, INSTRUCT, MOVE, OPEN, WAIT, Plan
from assistant.prover import naming
from assistant.prover.requirements import MishapNeed, Requirements, Task
from assistant.prover.truth import Truth
from assistant.prover.watching.trays import ways
from assistant.prover.watching.wipes import never_out
from assistant.session.facts.steps import StepConfirmed, StepStarted, WaitEnded

BRIDGE = "bridge:"
_BAG_ROLES = frozenset(("bag_ready", "waste_closed", "waste_wiped", "waste_passed_out"))

Found = list[tuple[str, str]]  # (property, what is wrong)


class Site:
    """One plan and what its files require of it. Answers questions, changes nothing."""

    def __init__(self, plan: Plan, need: Requirements) -> None:
        self.plan = plan
        self.need = need
        self.steps = {s.id: s for s in plan.steps}
        for mishap in plan.mishaps.values():
            self.steps.update({s.id: s for s in mishap.steps})
        self.limited = tuple(task for task in need.tasks if task.within_ms)
        self.waits = tuple(task for task in need.tasks if task.kind == WAIT)
        self.waste = _waste(need)
        self._ways: dict[tuple[tuple[str, bool], ...], dict[str, tuple[frozenset[str], frozenset[str]]]] = {}
        self._never_out: dict[tuple[tuple[str, bool], ...], list[tuple[str, str]]] = {}

    def the(self, thing: str) -> str:
        """A thing's name with its article."""
        return naming.thing(self.plan, thing)

    def step_told(self, step_id: str) -> str:
        """A step as it is spoken, and where its file has it, though the plan may lack it."""
        task = self.need.task(step_id)
        return naming.step(self.plan, step_id, told=(task.says, task.place) if task else ("", ""))

    def still_open(self, t: Truth) -> str:
        """The first step of the file that is still to be done, told; "" if there is none."""
        open_ = (x.id for x in self.need.applies(t.options) if x.id not in t.done and x.id not in t.confirmed_ms)
        following = next(open_, "")
        return self.step_told(following) if following else ""

    def unmet(self, cond: tuple[str, str, str]) -> str:
        """A condition that doesn't hold, in words."""
        return naming.condition(self.plan, cond)

    def never_out(self, options: dict[str, bool]) -> list[tuple[str, str]]:
        """Wiping after which the used wipes never leave, under these answers (worked out once for each)."""
        key = tuple(sorted(options.items()))
        if key not in self._never_out:
            self._never_out[key] = never_out(self.need, options)
        return self._never_out[key]

    def ways(self, options: dict[str, bool]) -> dict[str, tuple[frozenset[str], frozenset[str]]]:
        """What is open, and which trays are lifted, where something is wetted or put through (worked out once for each answers)."""
        key = tuple(sorted(options.items()))
        if key not in self._ways:
            self._ways[key] = ways(self.need, options)
        return self._ways[key]

    def task(self, fact: StepStarted | StepConfirmed | WaitEnded) -> Task | None:
        """The file's step a fact is about; None for a generated step and for one of a mishap."""
        return None if fact.branch else self.need.task(fact.step)

    def shape(self, step_id: str) -> tuple[str, str, str, str]:
        """(kind, where the hands must be, opening, cycle). Where the files say where a thing is moved from, they
        count, not the plan's step."""
        if step_id.startswith(BRIDGE):
            _, verb, subject = step_id.split(":", 2)
            kind = verb if verb in (OPEN, CLOSE, CYCLE, MOVE, WAIT) else INSTRUCT
            opening = subject if kind in (OPEN, CLOSE) else ""
            cycle = subject if kind == CYCLE else ""
            reach = ""
        else:
            step = self.steps.get(step_id)
            if step is None:
                return INSTRUCT, "", "", ""
            kind, reach, opening, cycle = step.kind, step.reach, step.opening, step.cycle
        if kind in (OPEN, CLOSE) and opening in self.need.openings:
            reach = self.need.openings[opening].reach
        elif kind == CYCLE and cycle in self.need.cycles:
            reach = self.need.cycles[cycle].reach
        return kind, reach, opening, cycle

    def holds(self, t: Truth, cond: tuple[str, str, str]) -> bool:
        """Whether a condition of the files holds, by what is so and not by what the core believes."""
        kind, subject, value = cond
        if kind == "opening":
            return (subject in t.open_since) == (value == "open")
        if kind == "cycle":
            return t.cycles.get(subject, ("", 0))[0] == "complete"
        if kind == "machine":
            return t.machines.get(subject) == value
        if kind == "hands":
            return not value or t.hands == value
        if kind == "contact":
            return subject not in t.wet
        return True

    def wet_ms(self, t: Truth, agent: str, surface: str) -> int:
        """How long a surface stays wet: the file's time, or today's patch test where that is shorter."""
        wet = self.need.wet_ms.get((agent, surface), 0)
        spec = self.need.surfaces.get(surface)
        patch = t.patch.get((spec.orientation if spec else "", agent))
        return wet if patch is None else min(wet, patch)

    def spoiled(self, t: Truth, need: MishapNeed, chosen: str) -> set[str]:
        """The surfaces a mishap spoils, said where the hands are now."""
        here = t.wiped()
        found: set[str] = set()
        for what, zone, surfaces in need.spoils:
            if what == "all":
                found |= set(self.need.surfaces)
            elif what == "named":
                found |= set(surfaces)
            elif what == "running":
                found |= set(t.wet)
            elif what == "chosen":
                found |= {chosen} - {""}
            elif what == "zone":
                spec = self.need.surfaces.get(here)
                zone = zone or (spec.zone if spec else "")
                found |= {s for s, x in self.need.surfaces.items() if x.zone == zone}
            elif here:
                at = self.need.surfaces[here]
                if what == "current":
                    found.add(here)
                elif what == "below":
                    found |= {s for s, x in self.need.surfaces.items() if x.zone == at.zone and x.height > at.height}
                    found |= set(at.beside)
        return found


def _waste(need: Requirements) -> tuple[Task, ...]:
    """The steps that take used wipes out, the glove change after the last bag among them."""
    bags = [need.order[task.id] for task in need.tasks if task.role in _BAG_ROLES]
    after = need.tasks[max(bags):] if bags else ()
    change = next((task for task in after if task.role == "outer_glove_change"), None)
    return tuple(
        task for task in need.tasks if task.role in _BAG_ROLES or task.role == "wipes_binned" or task is change
    )
