"""Watches the facts of the core against the site's requirements, with code and bookkeeping of its own.

Nothing here asks the core whether a condition holds: doors, hands, cycles and wetness are followed from the facts as
a person at the enclosure would see them (`following`), so that a fault of plan or core shows. For each fact the
families of properties in `watching` look first, at what was so before it; then what it changes is noted.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from types import ModuleType

from assistant.procedure.model.plan import WET, Plan
from assistant.prover.following import CHANGES
from assistant.prover.requirements import Requirements
from assistant.prover.truth import Truth
from assistant.prover.watching import (
    confirming,
    contacts,
    cycles,
    endings,
    limits,
    mishaps,
    openings,
    steps,
    urgency,
    waits,
    ways,
)
from assistant.prover.watching.endings import leaves_a_trace
from assistant.prover.watching.site import Found, Site
from assistant.session.facts.base import Fact
from assistant.session.state import State

_FAMILIES = (endings, steps, waits, confirming, contacts, openings, cycles, mishaps, urgency, ways)


def _looks(families: tuple[ModuleType, ...]) -> dict[str, tuple[Callable[..., None], ...]]:
    """Kind of fact -> the functions of that name, in the order of the families."""
    kinds = {*CHANGES, *urgency.KINDS, "deviation"}
    return {kind: tuple(getattr(f, kind) for f in families if hasattr(f, kind)) for kind in kinds}


class Monitor:
    """Follows one plan. `follow` moves a Truth on by facts and returns what they break."""

    def __init__(self, plan: Plan, need: Requirements) -> None:
        self.site = Site(plan, need)
        self.need = need
        self.looks = _looks(_FAMILIES)
        self.traced: dict[tuple[str, ...], frozenset[str]] = {}

    def start(self) -> Truth:
        """Before anything has happened."""
        return Truth(self.need)

    def follow(self, truth: Truth, facts: tuple[Fact, ...], now_ms: int) -> tuple[Truth, Found]:
        """The truth after `facts`, and what is broken by them, as (property, text)."""
        truth = truth.copy()
        truth.environment = False
        found: Found = []
        for fact in facts:
            for look in self.looks.get(fact.KIND, ()):
                look(self.site, truth, fact, found)
            change = CHANGES.get(fact.KIND)
            if change is not None:
                change(self.site, truth, fact)
        limits.after_input(self.site, truth, now_ms, found)
        return truth, found

    def key(self, truth: Truth, state: State) -> Hashable:
        """What tells two truths apart that go with states of one key. Of the steps done those count that a property
        asks about: steps of the file that leave a trace or have a limit, and the steps of the branches now open."""
        traced = self.traced.get(truth.branches)
        if traced is None:
            limited = {task.id for task in self.site.limited}
            own = {t.id for t in self.need.tasks if leaves_a_trace(t) or t.id in limited}
            for branch in truth.branches:
                own |= set(self.need.mishaps[branch].steps if branch in self.need.mishaps else ())
            traced = self.traced[truth.branches] = frozenset(own)
        return truth.key(state, traced)

    def moments(self, truth: Truth, state: State) -> tuple[int, ...]:
        """When, by the files, something dries, is wet for long enough, or is late."""
        need = self.need
        found = [wet.dries_ms for wet in truth.wet.values()]
        found += [wet.since_ms + need.contact_ms.get(wet.agent, 0) for wet in truth.wet.values()]
        for opening, since in truth.open_since.items():
            most = need.openings[opening].max_open_ms if opening in need.openings else 0
            if most and f"opening:{opening}" not in truth.missed:
                found.append(since + most + 1)
        for task in self.site.limited:
            if task.after in truth.confirmed_ms and task.id not in truth.done and f"step:{task.id}" not in truth.missed:
                found.append(truth.confirmed_ms[task.after] + task.within_ms + 1)
        step = self.site.steps.get(state.current)
        if step is not None and step.kind == WET and (step.agent, step.surface) in need.wet_ms:
            first = state.stroke_ms if state.stroke_ms >= 0 else state.since_ms
            found.append(first + self.site.wet_ms(truth, step.agent, step.surface))
        return tuple(found)
