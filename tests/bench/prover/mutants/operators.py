"""Faults in a plan, made by operators: each yields (name, plan) for one procedure. The site's files stay as they are.

An operator changes one thing that somebody could get wrong between paper, file and plan.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from dataclasses import replace

from assistant.procedure.model import plan as p
from assistant.prover.requirements import LEAST_SPOILS, Requirements

Mutants = Iterator[tuple[str, p.Plan]]
Operator = Callable[[p.Plan, Requirements], Mutants]
OPERATORS: dict[str, Operator] = {}


def _operator(function: Operator) -> Operator:
    OPERATORS[function.__name__] = function
    return function


def _with(plan: p.Plan, index: int, **changes: object) -> p.Plan:
    steps = list(plan.steps)
    steps[index] = replace(steps[index], **changes)
    return replace(plan, steps=tuple(steps))


def _mishap(plan: p.Plan, mishap: p.Mishap, **changes: object) -> p.Plan:
    return replace(plan, mishaps={**plan.mishaps, mishap.id: replace(mishap, **changes)})


def _opening(plan: p.Plan, name: str, **changes: object) -> p.Plan:
    return replace(plan, openings={**plan.openings, name: replace(plan.openings[name], **changes)})


def _cycle(plan: p.Plan, name: str, **changes: object) -> p.Plan:
    return replace(plan, cycles={**plan.cycles, name: replace(plan.cycles[name], **changes)})


@_operator
def step_dropped(plan: p.Plan, need: Requirements) -> Mutants:
    """A step is forgotten. Plain instructions without a role are left alone: they leave no trace."""
    for i, step in enumerate(plan.steps):
        task = need.task(step.id)
        if step.kind == p.INSTRUCT and not (task and task.role):
            continue
        yield step.id, replace(plan, steps=(*plan.steps[:i], *plan.steps[i + 1:]))


@_operator
def wait_emptied(plan: p.Plan, need: Requirements) -> Mutants:
    """A wait that waits for nothing."""
    for i, step in enumerate(plan.steps):
        if step.kind == p.WAIT:
            yield step.id, _with(plan, i, wait_for=())


@_operator
def wait_late(plan: p.Plan, need: Requirements) -> Mutants:
    """A wait comes one step later than it should."""
    for i, step in enumerate(plan.steps[:-1]):
        if step.kind == p.WAIT:
            steps = list(plan.steps)
            steps[i], steps[i + 1] = steps[i + 1], steps[i]
            yield step.id, replace(plan, steps=tuple(steps))


@_operator
def interlock_dropped(plan: p.Plan, need: Requirements) -> Mutants:
    """Two doors no longer know of each other."""
    for group in plan.interlocks:
        changed = replace(plan, interlocks=tuple(g for g in plan.interlocks if g != group))
        for name in group:
            opens = tuple(c for c in plan.openings[name].opens_when if c.kind != "opening" or c.subject not in group)
            changed = _opening(changed, name, opens_when=opens)
        yield "+".join(sorted(group)), changed


@_operator
def opening_condition_dropped(plan: p.Plan, need: Requirements) -> Mutants:
    """An opening forgets a cycle or machine it depends on."""
    for opening in plan.openings.values():
        for cond in opening.opens_when:
            if cond.kind != "opening":
                rest = tuple(c for c in opening.opens_when if c != cond)
                yield f"{opening.id}-{cond.kind}-{cond.subject}", _opening(plan, opening.id, opens_when=rest)


@_operator
def cycle_condition_dropped(plan: p.Plan, need: Requirements) -> Mutants:
    """A cycle may be started with a door open."""
    for cycle in plan.cycles.values():
        for cond in cycle.starts_when:
            rest = tuple(c for c in cycle.starts_when if c != cond)
            yield f"{cycle.id}-{cond.kind}-{cond.subject}", _cycle(plan, cycle.id, starts_when=rest)


@_operator
def cycle_not_broken(plan: p.Plan, need: Requirements) -> Mutants:
    """Opening a door, or an alarm, leaves a cycle standing."""
    for cycle in plan.cycles.values():
        if cycle.broken_by_openings:
            yield f"{cycle.id}-openings", _cycle(plan, cycle.id, broken_by_openings=())
    for mishap in plan.mishaps.values():
        if mishap.breaks_cycles:
            changed = _mishap(plan, mishap, breaks_cycles=False)
            for name, cycle in plan.cycles.items():
                changed = _cycle(changed, name, broken_by=tuple(w for w in cycle.broken_by if w != mishap.word))
            yield mishap.id, changed


@_operator
def spoil_forgotten(plan: p.Plan, need: Requirements) -> Mutants:
    """A mishap spoils nothing, or less than it does. Only where something is wet at all."""
    if not any(s.kind == p.WET for s in plan.steps):
        return
    for mishap in plan.mishaps.values():
        if mishap.then == "resume" and mishap.word in LEAST_SPOILS:
            for spoil in mishap.spoils:
                rest = tuple(s for s in mishap.spoils if s != spoil)
                yield f"{mishap.id}-{spoil.what}", _mishap(plan, mishap, spoils=rest)


@_operator
def doors_swapped(plan: p.Plan, need: Requirements) -> Mutants:
    """A step names another opening."""
    names = list(plan.openings)
    for i, step in enumerate(plan.steps):
        if step.kind in (p.OPEN, p.CLOSE) and len(names) > 1:
            other = names[(names.index(step.opening) + 1) % len(names)]
            yield step.id, _with(plan, i, opening=other)


@_operator
def cycle_time_cut(plan: p.Plan, need: Requirements) -> Mutants:
    """A cycle a second, or by half, too short."""
    used = {s.cycle for s in plan.steps}
    for cycle in plan.cycles.values():
        if cycle.id in used:
            yield f"{cycle.id}-half", _cycle(plan, cycle.id, duration_ms=cycle.duration_ms // 2)
            yield f"{cycle.id}-second", _cycle(plan, cycle.id, duration_ms=cycle.duration_ms - 1_000)


@_operator
def cycle_swapped(plan: p.Plan, need: Requirements) -> Mutants:
    """A step starts another cycle."""
    names = list(plan.cycles)
    for i, step in enumerate(plan.steps):
        if step.kind == p.CYCLE and len(names) > 1:
            yield step.id, _with(plan, i, cycle=names[(names.index(step.cycle) + 1) % len(names)])


@_operator
def contact_time_cut(plan: p.Plan, need: Requirements) -> Mutants:
    """A contact a second too short."""
    for i, step in enumerate(plan.steps):
        if step.kind == p.WET and step.contact_ms:
            yield step.id, _with(plan, i, contact_ms=step.contact_ms - 1_000)


@_operator
def wet_time_stretched(plan: p.Plan, need: Requirements) -> Mutants:
    """A surface is said to stay wet longer than was measured."""
    for i, step in enumerate(plan.steps):
        if step.kind == p.WET and step.contact_ms:
            yield step.id, _with(plan, i, wet_ms=step.wet_ms + 120_000)


@_operator
def rewet_lead_moved(plan: p.Plan, need: Requirements) -> Mutants:
    """A re-wet is asked for too late to be done."""
    for i, step in enumerate(plan.steps):
        if step.kind == p.WET and step.wet_ms < step.contact_ms + max(0, step.expected_ms):
            yield step.id, _with(plan, i, lead_ms=1_000)


@_operator
def read_back_dropped(plan: p.Plan, need: Requirements) -> Mutants:
    """A dangerous opening is confirmed by one word."""
    for i, step in enumerate(plan.steps):
        if step.kind == p.OPEN and need.openings[step.opening].read_back:
            yield step.id, _with(plan, i, policy=p.SINGLE)


@_operator
def end_condition_removed(plan: p.Plan, need: Requirements) -> Mutants:
    """How things must be left is forgotten."""
    for opening in plan.openings.values():
        if any(s.opening == opening.id for s in plan.steps):
            yield f"{opening.id}", _opening(plan, opening.id, at_end="open")
    for machine in plan.end_machines:
        if any(s.machine == machine for s in plan.steps):
            ends = {m: v for m, v in plan.end_machines.items() if m != machine}
            steps = tuple(s for s in plan.steps if s.machine != machine)
            yield f"machine-{machine}", replace(plan, end_machines=ends, steps=steps)
    yield "hands", replace(plan, end_hands=p.GAUNTLETS if plan.end_hands == p.ROOM else p.ROOM)


@_operator
def hands_moved_wrongly(plan: p.Plan, need: Requirements) -> Mutants:
    """A move leads elsewhere."""
    for i, step in enumerate(plan.steps):
        if step.kind == p.MOVE:
            yield step.id, _with(plan, i, hands=p.ROOM if step.hands != p.ROOM else p.GAUNTLETS)


@_operator
def reach_wrong(plan: p.Plan, need: Requirements) -> Mutants:
    """A step is done from where it can't be done."""
    for i, step in enumerate(plan.steps):
        if step.kind in (p.OPEN, p.CLOSE, p.CYCLE, p.NOTE):
            yield step.id, _with(plan, i, reach=p.ROOM if step.reach != p.ROOM else p.GAUNTLETS)


@_operator
def limit_dropped(plan: p.Plan, need: Requirements) -> Mutants:
    """A time limit is forgotten or doubled."""
    for opening in plan.openings.values():
        if opening.max_open_ms and any(s.opening == opening.id for s in plan.steps):
            yield f"{opening.id}", _opening(plan, opening.id, max_open_ms=0)
            yield f"{opening.id}-doubled", _opening(plan, opening.id, max_open_ms=2 * opening.max_open_ms)
    for i, step in enumerate(plan.steps):
        if step.within_ms:
            yield step.id, _with(plan, i, within_ms=0, after_step="")


@_operator
def mishap_emptied(plan: p.Plan, need: Requirements) -> Mutants:
    """A mishap's own steps are missing, one or all."""
    for mishap in plan.mishaps.values():
        if mishap.then != "leave":
            yield mishap.id, _mishap(plan, mishap, steps=())
            if len(mishap.steps) > 1:
                yield f"{mishap.id}-last", _mishap(plan, mishap, steps=mishap.steps[:-1])


@_operator
def mishap_goes_on(plan: p.Plan, need: Requirements) -> Mutants:
    """Work goes on after a mishap that ends it."""
    for mishap in plan.mishaps.values():
        if mishap.then == "stop":
            yield mishap.id, _mishap(plan, mishap, then="resume")


@_operator
def waste_not_owed(plan: p.Plan, need: Requirements) -> Mutants:
    """A step by which used wipes leave isn't owed again when something before it is wiped again. Doors, hands and
    plain instructions among them are left alone: they leave no trace of their own."""
    roles = ("bag_ready", "waste_closed", "waste_wiped", "waste_passed_out", "outer_glove_change", "wipes_binned")
    for i, step in enumerate(plan.steps):
        task = need.task(step.id)
        if step.after_wiping and task and task.role in roles:
            yield step.id, _with(plan, i, after_wiping=False)


@_operator
def witness_dropped(plan: p.Plan, need: Requirements) -> Mutants:
    """The second person isn't asked."""
    for i, step in enumerate(plan.steps):
        if step.kind == p.WITNESS:
            yield step.id, _with(plan, i, kind=p.INSTRUCT)
        elif step.policy == p.WITNESSED:
            yield step.id, _with(plan, i, policy=p.SINGLE)


@_operator
def agent_swapped(plan: p.Plan, need: Requirements) -> Mutants:
    """A surface is wetted with the other agent."""
    agents = {s.agent: s for s in plan.steps if s.kind == p.WET}
    for i, step in enumerate(plan.steps):
        others = [a for a in agents if a != step.agent]
        if step.kind == p.WET and others:
            like = agents[others[0]]
            yield step.id, _with(plan, i, agent=like.agent, contact_ms=like.contact_ms)


@_operator
def surface_swapped(plan: p.Plan, need: Requirements) -> Mutants:
    """One surface twice, the other never."""
    wets = [i for i, s in enumerate(plan.steps) if s.kind == p.WET]
    for i, j in itertools.pairwise(wets):
        if plan.steps[i].surface != plan.steps[j].surface:
            yield plan.steps[i].id, _with(plan, i, surface=plan.steps[j].surface)


@_operator
def value_limits_dropped(plan: p.Plan, need: Requirements) -> Mutants:
    """A value outside, a no, or a passed date is gone on from."""
    for i, step in enumerate(plan.steps):
        if step.kind == p.READING and step.on_outside != "deviate":
            yield f"{step.id}-limits", _with(plan, i, low="", high="")
            yield f"{step.id}-goes-on", _with(plan, i, on_outside="deviate")
        elif step.kind == p.CHECK and step.on_no != "deviate":
            yield f"{step.id}-goes-on", _with(plan, i, on_no="deviate")
        elif step.kind == p.NOTE and step.not_before_today:
            yield f"{step.id}-date", _with(plan, i, not_before_today=False)


@_operator
def option_flipped(plan: p.Plan, need: Requirements) -> Mutants:
    """A step hangs on the opposite answer."""
    for i, step in enumerate(plan.steps):
        task = need.task(step.id)
        if step.when and (step.kind != p.INSTRUCT or (task and task.role)):
            flipped = tuple(replace(w, equals=not w.equals) for w in step.when)
            yield step.id, _with(plan, i, when=flipped)
