"""Walks a procedure's main line once for every combination of answers, keeping what a correct run would have."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field
from typing import TypeVar

from assistant.procedure.compiling.expand import FlatStep
from assistant.procedure.loading.load import Loaded
from assistant.procedure.model.enclosure import OpeningModel, Zone
from assistant.procedure.model.kinds import Agent, EnclosureFile, ProcedureFile, SpokenStep, SurfaceModel, Wet
from assistant.procedure.model.plan import ALL_CONTACTS, Plan, Step

MAX_COMBINATIONS = 256
M = TypeVar("M", bound=SpokenStep)


@dataclass(frozen=True, slots=True)
class Visit:
    """One step in one combination of answers, with what holds just before it."""

    flat: FlatStep
    step: Step
    options: tuple[tuple[str, bool], ...]
    hands: str
    openings: dict[str, str]
    cycles: dict[str, str]  # started | complete
    machines: dict[str, str]
    running: frozenset[str]  # surfaces whose contact runs
    wetted: dict[str, tuple[FlatStep, ...]]  # surface -> the wet steps it has had, in order
    done: tuple[str, ...]


@dataclass(slots=True)
class Context:
    """What a rule may look at."""

    loaded: Loaded
    plan: Plan
    _walks: dict[tuple[tuple[str, bool], ...], list[Visit]] = field(default_factory=dict)

    @property
    def procedure(self) -> ProcedureFile:
        return self.loaded.procedure

    @property
    def enclosure(self) -> EnclosureFile:
        return self.loaded.enclosure

    def agent(self, name: str) -> Agent:
        """The agent's model. Raises KeyError."""
        return {a.id: a for a in self.loaded.agents.agents}[name]

    def surface(self, name: str) -> SurfaceModel:
        """The surface's model. Raises KeyError."""
        return {s.id: s for s in self.enclosure.surfaces}[name]

    def zone(self, name: str) -> Zone:
        """The zone's model. Raises KeyError."""
        return {z.id: z for z in self.enclosure.zones}[name]

    def opening(self, name: str) -> OpeningModel:
        """The opening's model. Raises KeyError."""
        return {o.id: o for o in self.enclosure.openings}[name]

    def step(self, flat: FlatStep) -> Step:
        """The compiled form of a flat step."""
        return self.plan.step(flat.id)

    def main(self, kind: type[M]) -> list[tuple[FlatStep, M]]:
        """Main-line steps of this kind with their models, in order."""
        return [(s, s.model) for s in self.loaded.steps if isinstance(s.model, kind)]

    def everything(self) -> list[FlatStep]:
        """Steps of the main line and of every branch."""
        return [*self.loaded.steps, *(s for m in self.loaded.mishaps for s in m.steps)]

    def everywhere(self, kind: type[M]) -> list[tuple[FlatStep, M]]:
        """Steps of this kind with their models, of the main line and of every branch."""
        return [(s, s.model) for s in self.everything() if isinstance(s.model, kind)]

    def with_role(self, *roles: str) -> list[FlatStep]:
        """Main-line steps that carry one of these roles."""
        return [s for s in self.loaded.steps if getattr(s.model, "role", None) in roles]

    def used_agents(self) -> list[Agent]:
        """Agents a wet step of the main line uses, in the order of use."""
        return [self.agent(a) for a in dict.fromkeys(m.agent for _, m in self.main(Wet))]

    def walks(self) -> dict[tuple[tuple[str, bool], ...], list[Visit]]:
        """Combination of answers -> the visits of its walk."""
        if not self._walks:
            names = [o.id for o in self.procedure.options]
            for answers in itertools.islice(
                itertools.product((True, False), repeat=len(names)), MAX_COMBINATIONS
            ):
                options = tuple(zip(names, answers, strict=True))
                self._walks[options] = self._walk(options)
        return self._walks

    def visits(self) -> list[Visit]:
        """Every visit of every walk."""
        return [v for walk in self.walks().values() for v in walk]

    def _walk(self, options: tuple[tuple[str, bool], ...]) -> list[Visit]:
        answers = dict(options)
        hands = self.plan.start_hands
        openings = {o.id: o.at_start for o in self.plan.openings.values()}
        cycles: dict[str, str] = {}
        machines = dict(self.plan.start_machines)
        running: frozenset[str] = frozenset()
        wetted: dict[str, tuple[FlatStep, ...]] = {}
        done: list[str] = []
        out: list[Visit] = []
        for flat in self.loaded.steps:
            if not all(answers.get(o) == v for o, v in flat.when):
                continue
            step = self.step(flat)
            out.append(
                Visit(
                    flat,
                    step,
                    options,
                    hands,
                    dict(openings),
                    dict(cycles),
                    dict(machines),
                    running,
                    dict(wetted),
                    tuple(done),
                )
            )
            done.append(flat.id)
            if step.kind == "move":
                hands = step.hands
            elif step.kind in ("open", "close"):
                openings[step.opening] = "open" if step.kind == "open" else "closed"
                if step.kind == "open":
                    for cycle in self.plan.cycles.values():
                        if step.opening in cycle.broken_by_openings:
                            cycles.pop(cycle.id, None)
            elif step.kind == "cycle":
                cycles[step.cycle] = "started"
            elif step.kind == "machine":
                machines[step.machine] = step.machine_value
            elif step.kind == "wet":
                wetted[step.surface] = (*wetted.get(step.surface, ()), flat)
                if step.contact_ms:
                    running |= {step.surface}
            elif step.kind == "wait":
                everything = ALL_CONTACTS in step.wait_for
                running = frozenset() if everything else running - set(step.wait_for)
                for name in step.wait_for:
                    if name in cycles:
                        cycles[name] = "complete"
        return out
