"""What must happen before a step can begin: the first unmet condition, turned into something to do."""

from __future__ import annotations

from assistant.procedure.model.plan import CLOSE, CYCLE, MOVE, OPEN, WAIT, WET, Cond, Plan, Step
from assistant.session.lookup import holds, wet_steps_for
from assistant.session.order.bridges import PREFIX, bridge_step
from assistant.session.state import BROKEN, COMPLETE, RUNNING, State

_DEEPEST = 12  # conditions of conditions; more is a ring in the site's files


def met(state: State, cond: Cond) -> bool:
    """Whether one condition holds now."""
    kind, subject, value = cond.kind, cond.subject, cond.value
    if kind == "opening":
        return state.openings.get(subject, "closed") == value
    if kind == "cycle":
        run = state.cycles.get(subject)
        return run is not None and run.status == COMPLETE
    if kind == "hands":
        return not value or state.hands == value
    if kind == "machine":
        return state.machines.get(subject) == value
    if kind == "contact":
        return subject not in state.contacts and state.surfaces.get(subject) == "clean"
    if kind == "step":
        return any(subject in frame.done or subject in frame.skipped for frame in state.frames)
    raise ValueError(f"unknown kind of condition: {kind}")


def conditions(plan: Plan, step: Step) -> tuple[Cond, ...]:
    """Everything that must hold before `step` begins: its own, its interlocks', its reach."""
    found = list(step.requires)
    if step.kind == OPEN:
        found += plan.openings[step.opening].opens_when
        for group in plan.interlocks:
            if step.opening in group:
                found += [Cond("opening", other, "closed") for other in sorted(group - {step.opening})]
    elif step.kind == CLOSE:
        found += plan.openings[step.opening].closes_when
    elif step.kind == CYCLE:
        found += plan.cycles[step.cycle].starts_when
    elif step.kind == WAIT:
        found += [Cond("cycle", name, "complete") for name in step.wait_for if name in plan.cycles]
    if step.kind not in (MOVE, WAIT) and step.reach:
        # Hands last: what has to be moved elsewhere is moved before the hands settle.
        found.append(Cond("hands", "", step.reach))
    return tuple(found)


def unmet(plan: Plan, state: State, step: Step) -> Cond | None:
    """The first condition of `step` that doesn't hold, or None."""
    for cond in conditions(plan, step):
        if step.kind == WAIT and cond.kind == "cycle" and _running(state, cond.subject):
            continue  # that is what it waits for
        if not met(state, cond):
            return cond
    return None


def _running(state: State, cycle: str) -> bool:
    run = state.cycles.get(cycle)
    return run is not None and run.status == RUNNING


def ready_step(plan: Plan, state: State, wanted: Step) -> str | None:
    """The id of what to do now so that `wanted` can begin: itself, or a bridge. None: no way there."""
    step, seen = wanted, []
    for _ in range(_DEEPEST):
        if step.kind == WET and _other_contact(state, step):
            return f"{PREFIX}wait:{step.surface}"
        cond = unmet(plan, state, step)
        if cond is None:
            return step.id
        bridge = _bridge_for(plan, state, cond)
        if bridge is None or bridge in seen:
            return None
        if bridge.startswith(f"{PREFIX}wait:"):
            return bridge
        seen.append(bridge)
        step = bridge_step(plan, bridge) if bridge.startswith(PREFIX) else plan.step(bridge)
    return None


def _other_contact(state: State, step: Step) -> bool:
    """Another agent is still working on this surface; wetting it now would end that contact."""
    running = state.contacts.get(step.surface)
    return running is not None and running.step != step.id


def put_off(plan: Plan, state: State, step: Step) -> bool:
    """Whether an owed cycle of the main line, or the wait for it alone, can be left for later: it was broken, and work
    that comes after it had begun."""
    broken = [name for name in (step.cycle, *step.wait_for) if name in plan.cycles]
    if step.kind not in (CYCLE, WAIT) or state.top.branch or not broken or len(broken) < len(step.wait_for):
        return False
    if not all(name in state.cycles and state.cycles[name].status == BROKEN for name in broken):
        return False
    if step.id in state.main.done or step.id in state.main.skipped or not holds(state, step):
        return False
    at = plan.steps.index(step)
    return any(s.id in state.main.done and s.kind != WAIT for s in plan.steps[at + 1 :])


def _bridge_for(plan: Plan, state: State, cond: Cond) -> str | None:
    kind, subject, value = cond.kind, cond.subject, cond.value
    if kind == "hands":
        return f"{PREFIX}move:{value}"
    if kind == "opening":
        return f"{PREFIX}{'close' if value == 'closed' else 'open'}:{subject}"
    if kind == "cycle":
        run = state.cycles.get(subject)
        if run is not None and run.status == RUNNING:
            return f"{PREFIX}wait:{subject}"
        own = (s.id for s in plan.steps if s.kind == CYCLE and s.cycle == subject and put_off(plan, state, s))
        return next(own, f"{PREFIX}cycle:{subject}")
    if kind == "machine":
        return f"{PREFIX}machine:{subject}={value}"
    if kind == "contact":
        if subject in state.contacts:
            return f"{PREFIX}wait:{subject}"
        owed = [s.id for s in wet_steps_for(plan, subject) if holds(state, s) and s.id not in state.main.done]
        return owed[0] if owed else None
    if kind == "step":
        return subject
    return None
