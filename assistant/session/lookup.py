"""Questions about a plan and a state that several parts of the core ask."""

from __future__ import annotations

from assistant.language.sentences import SPOKEN
from assistant.procedure.model.plan import (
    ALL_CONTACTS,
    URGENCIES,
    URGENCY_PERSON,
    URGENCY_WORK,
    WET,
    Plan,
    Step,
)
from assistant.session.order.bridges import bridge_step, is_bridge
from assistant.session.state import COMPLETE, RUNNING, State

ANSWERS = "answers:"  # in place of a mishap's id: which answer of the start was wrong
_TAKES_BACK = frozenset(("step", "value", "witness", "wait", "rewet", "paused", "option"))  # modes an answer is taken back in
ASKING_REMEDY = "dries:"  # before the surface, in place of a mishap's id


def step_of(plan: Plan, state: State) -> Step | None:
    """The step at hand, generated bridges included."""
    if not state.current:
        return None
    return bridge_step(plan, state.current, state.hands) if is_bridge(state.current) else plan.step(state.current)


def came_from(plan: Plan, state: State, step_id: str) -> str:
    """For a generated move that was confirmed: where the hands were before it."""
    there = state.hands_before[-1] if state.hands_before else plan.start_hands
    return there if step_id.endswith(f":{state.hands}") else ""


def concerned(plan: Plan) -> tuple[str, ...]:
    """The openings that this procedure is about: every door, and the trays that it lifts."""
    lifted = {s.opening for steps in (plan.steps, *(m.steps for m in plan.mishaps.values())) for s in steps}
    return tuple(o.id for o in plan.openings.values() if not o.lifts or o.id in lifted)


def branch_steps(plan: Plan, branch: str) -> tuple[Step, ...]:
    """The steps of the main line ("") or of a mishap."""
    return plan.mishaps[branch].steps if branch else plan.steps


def holds(state: State, step: Step) -> bool:
    """Whether the answers given at the start call for this step."""
    return all(state.options.get(when.option, False) == when.equals for when in step.when)


def is_hazard(plan: Plan, branch: str) -> bool:
    """Whether a line of work is about a person in danger or about what must stay inside."""
    return bool(branch) and plan.mishaps[branch].urgency != URGENCY_WORK


def first_of_hazard(plan: Plan, state: State) -> int:
    """The place in `frames` of the innermost branch about a person or about containment; 0 where none is open. What
    lies before it is interrupted work."""
    for at in range(len(state.frames) - 1, 0, -1):
        if is_hazard(plan, state.frames[at].branch):
            return at
    return 0


def urgency(plan: Plan, branch: str) -> int:
    """How urgent a mishap's branch is: the more, the higher."""
    return -URGENCIES.index(plan.mishaps[branch].urgency)


def endangers_person(plan: Plan, branch: str) -> bool:
    """Whether a line of work is about a person in danger."""
    return bool(branch) and plan.mishaps[branch].urgency == URGENCY_PERSON


def interrupted(plan: Plan, state: State, step_id: str) -> bool:
    """Whether a step belongs to work that waits until a person, or what must stay inside, was seen to."""
    first = first_of_hazard(plan, state)
    return bool(first) and not any(s.id == step_id for f in state.frames[first:] for s in branch_steps(plan, f.branch))


def in_reach(state: State, step: Step) -> bool:
    """Whether a surface could be wetted now as this step does it: the hands there, and every way open that it needs."""
    ways = (c for c in step.requires if c.kind == "opening")
    return step.reach in ("", state.hands) and all(state.openings.get(c.subject, "closed") == c.value for c in ways)


def wet_steps_for(plan: Plan, surface: str) -> tuple[Step, ...]:
    """The steps of the main line that wet `surface`."""
    return tuple(step for step in plan.steps if step.kind == WET and step.surface == surface)


def waited_surfaces(plan: Plan, state: State, step: Step) -> tuple[str, ...]:
    """The surfaces a wait stands for: those named, or every one whose contact runs."""
    if ALL_CONTACTS in step.wait_for:
        return tuple(state.contacts)
    return tuple(name for name in step.wait_for if name in plan.surfaces)


def wait_over(plan: Plan, state: State, step: Step) -> bool:
    """True once nothing named is still running: contacts complete, cycles complete."""
    for name in step.wait_for:
        if name in plan.cycles:
            run = state.cycles.get(name)
            if run is None or run.status != COMPLETE:
                return False
    return not any(surface in state.contacts for surface in waited_surfaces(plan, state, step))


def wait_left(plan: Plan, state: State, step: Step) -> int:
    """When the wait will be over if nothing goes wrong, on the session's clock (ms)."""
    ends = [state.contacts[s].complete_at_ms for s in waited_surfaces(plan, state, step) if s in state.contacts]
    ends += [
        state.cycles[name].due_ms
        for name in step.wait_for
        if name in state.cycles and state.cycles[name].status == RUNNING
    ]
    return max(ends, default=state.now_ms)


def name_of(plan: Plan, thing: str) -> str:
    """The spoken name of a surface, opening or cycle; the id where it has none."""
    if thing in plan.surfaces:
        return plan.surfaces[thing].name
    if thing in plan.openings:
        return plan.openings[thing].name
    thing = thing.removeprefix("cycle:")
    return plan.cycles[thing].name if thing in plan.cycles else thing


def said_as(plan: Plan, word: str) -> str:
    """How a command is said here: the plan's form, the language's own, else its id in words."""
    return plan.spoken.get(word) or SPOKEN[plan.language].get(word, word.replace("_", " "))


def remedy_surface(state: State) -> str:
    """The surface for which a remedy is asked, or "" where the question at hand is about something else."""
    return state.mishap.removeprefix(ASKING_REMEDY) if state.mishap.startswith(ASKING_REMEDY) else ""


def can_correct_answers(plan: Plan, state: State) -> bool:
    """Whether, asked what happened, somebody can say that an answer given at the start was wrong."""
    return (
        state.mode == "trouble" and bool(state.options) and state.under[-1:] != () and state.under[-1] in _TAKES_BACK
        and not state.top.branch
    )


def same_person(one: str, other: str) -> bool:
    """Whether two names stand for one person: spaces and letter case aside."""
    return " ".join(one.split()).casefold() == " ".join(other.split()).casefold()
