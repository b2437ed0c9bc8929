"""A surface dries time and again before its contact time is over: what may be wrong, and what to try.

Without this the same surface would be wetted, dry and be owed for ever. It is asked before it is wetted once more,
when nothing else is open. Why a surface dries too soon: a volatile or weak agent, moving air, an area too large to be
wetted in time (common practice, no source).
"""

from __future__ import annotations

from assistant.procedure.model.plan import PATCH, WET, Plan, Step
from assistant.session.facts import contacts, lines, session, steps, troubles
from assistant.session.lookup import ASKING_REMEDY, holds, name_of, remedy_surface, wet_steps_for
from assistant.session.state import State
from assistant.session.troubles import stopping
from assistant.session.turn import Turn

PATCH_TEST, SMALLER, STOP, GO_ON = "patch", "smaller", "stop", "go_on"


def due(plan: Plan, state: State, step: Step) -> bool:
    """Whether this step would wet a surface that has dried so often that it must be asked first."""
    most = plan.ask_after_dryings
    return step.kind == WET and bool(most) and state.dryings.get(step.surface, 0) >= most


def patch_step(plan: Plan, state: State, wet: Step) -> str:
    """The patch test of this run that sets today's time for this step's surface, or "". A branch has none."""
    if state.top.branch:
        return ""
    lies = plan.surfaces[wet.surface].orientation
    return next((
        s.id for s in plan.steps
        if s.kind == PATCH and s.agent == wet.agent and plan.surfaces[s.surface].orientation == lies and holds(state, s)
    ), "")


def ask(turn: Turn, step: Step) -> None:
    """Say what may be wrong, record it for the supervisor, and ask what to try."""
    name, times = name_of(turn.plan, step.surface), turn.state.dryings[step.surface]
    turn.deviate("dries_repeatedly", step.surface, turn.words("dries_repeatedly", name=name, n=times))
    choices: tuple[str, ...] = (SMALLER, STOP)
    if patch_step(turn.plan, turn.state, step):
        choices = (PATCH_TEST, *choices)
    turn.emit(troubles.WhichAsked(turn.now_ms, f"{ASKING_REMEDY}{step.surface}", choices))
    turn.ask()


def choose(turn: Turn, remedy: str) -> None:
    """What is tried. The count of dryings begins anew."""
    state, surface = turn.state, remedy_surface(turn.state)
    turn.emit(contacts.RemedyChosen(turn.now_ms, surface, remedy))
    turn.speak(lines.ANSWER, turn.words(f"remedy_{remedy}"), surface)
    if remedy == STOP:
        stopping.begin_stop(turn)
        return
    turn.emit(session.Returned(turn.now_ms, state.under[-1]))
    if remedy == PATCH_TEST:
        owed = (s for s in wet_steps_for(turn.plan, surface) if holds(state, s) and s.id not in state.main.done)
        turn.emit(steps.StepOwed(turn.now_ms, patch_step(turn.plan, turn.state, next(owed)), turn.words("because_dried")))
