"""Is a seeded fault found? Each on the smallest procedure that shows it, stopping at the first refutation."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import load_procedure
from assistant.procedure.model.plan import MACHINE, Plan
from assistant.prover.bounds import Bounds
from assistant.prover.moves import TODAY
from assistant.prover.requirements import Requirements, of_files
from assistant.prover.search import Search
from assistant.session.lookup import concerned
from tests.bench.prover.mutants.core_faults import FAULTS, TAKES, seeded
from tests.bench.prover.mutants.file_operators import FILE_OPERATORS
from tests.bench.prover.mutants.operators import OPERATORS

# Smallest first; a fault that only a later one can show (a window, a witness) is made there.
BASES = (
    "gb-2-start-of-day", "gb-2-end-of-day", "gb-2-spill-inside", "gb-2-glove-sleeve-change", "pi-1-under-work-surface",
)
LATER = {  # operators worth trying on the larger bases: what the smaller ones have no step for
    "gb-2-spill-inside": ("option_flipped", "agent_swapped", "hands_moved_wrongly", "contact_time_cut"),
    "gb-2-glove-sleeve-change": ("witness_dropped", "option_flipped", "value_limits_dropped"),
    "pi-1-under-work-surface": ("cycle_swapped", "doors_swapped", "rewet_lead_moved", "wait_late", "way_unrequired"),
}
BOUNDS = Bounds(depth=1, moments=1)


@dataclass(frozen=True, slots=True)
class Mutant:
    """A fault: `plan` is the changed plan ("" core fault: the core is changed instead). `need`: the requirements of the
    file where that has the fault itself; None: the base's."""

    name: str
    base: str
    plan: Plan
    core: str = ""
    need: Requirements | None = None


@dataclass(frozen=True, slots=True)
class Judged:
    """`verdict`: refuted, equivalent or missed; `why`: the property, or the reason."""

    name: str
    verdict: str
    why: str
    states: int


class Bases:
    """The loaded procedures, each once."""

    def __init__(self, folder: Path | None = None) -> None:
        self.folder = folder
        self.found: dict[str, tuple[Plan, Requirements]] = {}

    def get(self, name: str) -> tuple[Plan, Requirements]:
        """(plan, requirements) of a procedure."""
        if name not in self.found:
            loaded = load_procedure(name, self.folder)
            self.found[name] = replace(compile_plan(loaded), today=TODAY), of_files(loaded)
        return self.found[name]


def mutants(bases: Bases, names: tuple[str, ...] = BASES) -> Iterator[Mutant]:
    """Every fault, plan faults first. An operator's fault on a larger base only where the smaller ones have none."""
    for base in names:
        plan, need = bases.get(base)
        for name, operator in OPERATORS.items():
            if base in LATER and name not in LATER[base]:
                continue
            for what, changed in operator(plan, need):
                if _fingerprint(changed) != _fingerprint(plan):
                    yield Mutant(f"{base}: {name} {what}", base, changed)
        for name, of_file in FILE_OPERATORS.items():
            if base in LATER and name not in LATER[base]:
                continue
            for what, changed, forgotten in of_file(plan, need):
                yield Mutant(f"{base}: {name} {what}", base, changed, need=forgotten)
    plan, _ = bases.get("gb-2-end-of-day")
    for name in FAULTS:
        yield Mutant(f"core: {name}", "gb-2-end-of-day", plan, name)


def _fingerprint(plan: Plan) -> str:
    return repr(plan)


def judge(bases: Bases, mutant: Mutant) -> Judged:
    """Search the mutant until something breaks; else look for a reason why nothing can."""
    original, need = bases.get(mutant.base)
    need = mutant.need or need
    states = 0
    for options in _assignments(mutant.plan):
        if mutant.core:
            with seeded(mutant.core):
                result = Search(mutant.plan, need, options, replace(BOUNDS, **TAKES.get(mutant.core, {}))).run()
        else:
            result = Search(mutant.plan, need, options, BOUNDS).run()
        states += result.states
        if result.refuted:
            return Judged(mutant.name, "refuted", result.refuted.prop, states)
    reason = _second_defence(bases, mutant) if mutant.core else equivalent(original, mutant)
    return Judged(mutant.name, "equivalent" if reason else "missed", reason, states)


def _assignments(plan: Plan) -> list[dict[str, bool]]:
    names = [o.id for o in plan.options]
    return [dict(zip(names, v, strict=True)) for v in itertools.product((True, False), repeat=len(names))]


def equivalent(original: Plan, mutant: Mutant) -> str:
    """Why a fault can't show, checked on the two plans; "" where there is no such reason."""
    return (
        _never_set(original, mutant.plan)
        or _never_moved(original, mutant.plan)
        or _never_started(original, mutant.plan)
        or _never_together(original, mutant.plan)
    )


def _never_together(original: Plan, changed: Plan) -> str:
    """An interlock is dropped of which at most one opening can ever be open here: no step moves the others or requires
    them open, and after a crash nobody asks about a tray that no step lifts."""
    gone = set(original.interlocks) - set(changed.interlocks)
    if not gone or _fingerprint(replace(changed, interlocks=original.interlocks)) != _fingerprint(original):
        return ""
    steps = _all_steps(original)
    can_open = {s.opening for s in steps} | set(concerned(original))
    can_open |= {c.subject for s in steps for c in s.requires if c.kind == "opening" and c.value == "open"}
    can_open |= {subject for _, kind, subject, value in _conditions(original) if kind == "opening" and value == "open"}
    if any(len(group & can_open) > 1 or any(original.openings[o].at_start == "open" for o in group) for group in gone):
        return ""
    shut = sorted(o for group in gone for o in group - can_open)
    return f"{' and '.join(shut)} can't be open here"


def _never_started(original: Plan, changed: Plan) -> str:
    """An opening no longer breaks a cycle that nothing here can start: no step does, and the core makes a bridge to a
    cycle only for a condition or a wait that names it, of which there is none."""
    if _fingerprint(replace(changed, cycles=original.cycles)) != _fingerprint(original):
        return ""
    steps = _all_steps(original)
    named = {s.cycle for s in steps} | {name for s in steps for name in s.wait_for}
    named |= {c.subject for s in steps for c in s.requires if c.kind == "cycle"}
    named |= {subject for _, kind, subject, _ in _conditions(original) if kind == "cycle"}
    lost = {
        name for name, cycle in original.cycles.items()
        if set(cycle.broken_by_openings) - set(changed.cycles[name].broken_by_openings)
    }
    return f"nothing starts {', '.join(sorted(lost))} or asks for it" if lost and not lost & named else ""


def _second_defence(bases: Bases, mutant: Mutant) -> str:
    """`left_open` is asked once more at an end that is complete already: with the whole core, no run without a skip
    ends as incomplete, so its answer there was always empty."""
    if mutant.core != "nothing is ever left open":
        return ""
    plan, need = bases.get(mutant.base)
    ends = 0
    for options in _assignments(plan):
        search = Search(plan, need, options, BOUNDS)
        if search.run().refuted:
            return ""
        for node in search.final:
            state = search.finals[node]
            ends += state.mode in ("complete", "incomplete")
            if state.mode == "incomplete" and not state.main.skipped:
                return ""
    return f"a second line of defence: at all {ends} ends nothing was left open unless it had been skipped"


def _all_steps(plan: Plan) -> list:
    return [*plan.steps, *(s for m in plan.mishaps.values() for s in m.steps)]


def _conditions(plan: Plan) -> set[tuple[str, str, str, str]]:
    found = set()
    for opening in plan.openings.values():
        found |= {(opening.id, c.kind, c.subject, c.value) for c in opening.opens_when}
    for cycle in plan.cycles.values():
        found |= {(cycle.id, c.kind, c.subject, c.value) for c in cycle.starts_when}
    return found


def _never_set(original: Plan, changed: Plan) -> str:
    """A dropped condition on a machine that stands right from the start and that no step ever sets."""
    gone = _conditions(original) - _conditions(changed)
    machines = {subject for _, kind, subject, _ in gone if kind == "machine"}
    if not gone or len(machines) != 1 or any(kind != "machine" for _, kind, _, _ in gone):
        return ""
    machine = machines.pop()
    set_by = [s.id for s in _all_steps(original) if s.kind == MACHINE and s.machine == machine]
    right = all(value == original.start_machines.get(machine) for _, _, _, value in gone)
    return f"no step sets {machine}, and it starts as the condition asks" if right and not set_by else ""


def _never_moved(original: Plan, changed: Plan) -> str:
    """What was dropped speaks of an opening or cycle that no step of this procedure ever moves or starts, or makes
    the core move or start by requiring it."""
    steps = _all_steps(original)
    touched = {s.opening for s in steps} | {s.cycle for s in steps} | {name for s in steps for name in s.wait_for}
    touched |= {c.subject for s in steps for c in s.requires if c.kind == "cycle" or c.value == "open"}
    touched |= {subject for _, kind, subject, value in _conditions(original) if kind == "opening" and value == "open"}
    gone = _conditions(original) - _conditions(changed)
    same = replace(changed, openings=original.openings, cycles=original.cycles, interlocks=original.interlocks)
    if _fingerprint(same) != _fingerprint(original):
        return ""
    subjects = {owner for owner, _, _, _ in gone}
    subjects |= {o for g in set(original.interlocks) - set(changed.interlocks) for o in g}
    for name, cycle in original.cycles.items():
        fewer = replace(changed.cycles[name], broken_by_openings=cycle.broken_by_openings)
        if cycle != changed.cycles[name] and cycle == fewer:  # what breaks it: who opens those?
            subjects |= set(cycle.broken_by_openings) - set(changed.cycles[name].broken_by_openings)
        elif cycle != changed.cycles[name]:
            subjects.add(name)
    subjects |= {o for o in original.openings if original.openings[o] != changed.openings[o]}
    moving = subjects & touched
    if subjects and not moving:
        return f"no step moves or starts {', '.join(sorted(subjects))}"
    return ""
