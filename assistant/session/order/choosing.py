"""What comes next in the line of work at hand: a step, a bridge to it, or its end."""

from __future__ import annotations

from assistant.language import vocabulary as w
from assistant.procedure.model import plan as p
from assistant.session.lookup import branch_steps, endangers_person, holds, same_person
from assistant.session.order.bridges import MICROPHONE, PREFIX, SIGN_IN, WAIT_ALL, bridge_step
from assistant.session.order.bridging import met, put_off, ready_step
from assistant.session.state import RUNNING, State

END = f"{PREFIX}end"  # no step of a site can be called so


def choose(plan: p.Plan, state: State) -> str | None:
    """The id of the next step or bridge; END when the line of work is finished; None when there is no way."""
    wanted = _wanted(plan, state)
    if wanted is not None and _needs_no_way(plan, state, wanted):
        return wanted.id
    shut = _shut_one(plan, state)
    if shut is not None:
        return shut
    if state.top.branch:
        taking_over = _taking_over(plan, state, wanted)
        if taking_over:
            return taking_over
    if wanted is not None:
        return ready_step(plan, state, wanted)
    return _branch_end(plan, state) if state.top.branch else _closing(plan, state)


def _wanted(plan: p.Plan, state: State) -> p.Step | None:
    top = state.top
    still = [s for s in branch_steps(plan, top.branch) if s.id not in top.done and s.id not in top.skipped and holds(state, s)]
    # A cycle broken behind the work comes again when something needs it, or when nothing else is left.
    return next((s for s in still if not put_off(plan, state, s)), next(iter(still), None))


def _needs_no_way(plan: p.Plan, state: State, wanted: p.Step) -> bool:
    """Where a person is in danger nothing comes before the first step, and the way out of the enclosure is theirs:
    no glove is cleaned first."""
    top = state.top
    if not endangers_person(plan, top.branch):
        return False
    return (not top.done and not top.skipped) or (wanted.reach == p.ROOM and not wanted.requires)


def _shut_one(plan: p.Plan, state: State) -> str | None:
    """Two interlocked openings found open: the one opened last is shut before anything else."""
    for group in plan.interlocks:
        both = [o for o in sorted(group) if state.openings.get(o) == "open"]
        if len(both) > 1:
            newest = max(both, key=lambda o: state.opened_ms.get(o, 0))
            return ready_step(plan, state, bridge_step(plan, f"bridge:close:{newest}"))
    return None


def _taking_over(plan: p.Plan, state: State, wanted: p.Step | None) -> str | None:
    """In a hand-over, once the first of its steps is done by the one who leaves: the new person signs in, and is
    heard. What they confirm from there on is theirs."""
    top = state.top
    if plan.mishaps[top.branch].word != w.HAND_OVER:
        return None
    begun = wanted is None or any(s.id in top.done or s.id in top.skipped for s in branch_steps(plan, top.branch))
    if begun and SIGN_IN not in top.done and same_person(state.person, top.person):
        return SIGN_IN
    return MICROPHONE if begun and MICROPHONE not in top.done else None


def _branch_end(plan: p.Plan, state: State) -> str:
    """A branch that wetted something itself isn't over before that has been wet long enough."""
    own = {s.id for s in branch_steps(plan, state.top.branch)}
    for contact in state.contacts.values():
        if contact.step in own:
            return f"bridge:wait:{contact.surface}"
    return END


def _closing(plan: p.Plan, state: State) -> str | None:
    """What is left to do at the end of the main line: waits, doors, hands, machines."""
    if state.contacts:
        return WAIT_ALL
    running = next((run.cycle for run in state.cycles.values() if run.status == RUNNING), None)
    if running is not None:
        return f"bridge:wait:{running}"
    ends = [p.Cond("opening", o.id, o.at_end) for o in plan.openings.values() if o.at_end]
    ends += [p.Cond("machine", machine, value) for machine, value in plan.end_machines.items()]
    ends.append(p.Cond("hands", "", plan.end_hands))
    for cond in ends:
        if not met(state, cond):
            return ready_step(plan, state, p.Step(END, p.INSTRUCT, "", requires=(cond,), reach=""))
    return END
