"""After every input: say what may be announced, end waits that are over, and find the next thing to do."""

from __future__ import annotations

from assistant.procedure.model import plan as p
from assistant.session.asking import prompts
from assistant.session.asking.announcing import announce
from assistant.session.facts import contacts, lines, session, steps, troubles
from assistant.session.lookup import in_reach, interrupted, same_person, wait_over
from assistant.session.modes import WORKING
from assistant.session.order.bridges import SIGN_IN, bridge_step, is_bridge
from assistant.session.order.choosing import END, choose
from assistant.session.order.starting import next_option
from assistant.session.state import FINAL_MODES
from assistant.session.troubles import mishaps, remedies, stopping
from assistant.session.turn import Turn
from assistant.session.words.answers import return_line

_UNDER_REWETS = frozenset((*WORKING, "ready"))
_MOST = 2_000  # steps that end by themselves in a row; more is a fault of ours


def settle(turn: Turn) -> None:
    """Bring the session to rest: it ends in a mode that waits for a person or for time."""
    for _ in range(_MOST):
        state = turn.state
        if state.mode in FINAL_MODES or state.mode == "idle":
            return
        if state.rewets and state.mode in _UNDER_REWETS and "rewet" not in state.under:
            _resume_rewets(turn)
        elif state.mode == "rewet" and not state.rewets:
            turn.emit(session.Returned(turn.now_ms, turn.state.under[-1]))
            return_line(turn)
        elif state.mode == "step" and state.current == SIGN_IN and not same_person(state.person, state.top.person):
            # Signed in, be it while another question lay over this one.
            turn.emit(
                steps.StepConfirmed(
                    turn.now_ms, SIGN_IN, state.top.branch, "single", turn.now_ms, turn.now_ms - state.since_ms,
                    state.person, "board",
                )
            )
        elif state.mode == "wait" and _wait_is_over(turn):
            continue
        elif state.mode == "ready":
            announce(turn, queued=True)
            _next(turn)
        else:
            announce(turn)
            return
    raise RuntimeError("the session doesn't come to rest")


def _resume_rewets(turn: Turn) -> None:
    """What lay under the re-wets was answered: they are at hand again, where the hands can still reach them. A surface
    out of reach, or behind a shut door, is asked for anew when it can be wetted, or dries."""
    state = turn.state
    near = tuple(
        s for s in state.rewets
        if in_reach(state, step := turn.plan.step(state.contacts[s].step)) and not interrupted(turn.plan, state, step.id)
    )
    turn.emit(contacts.RewetResumed(turn.now_ms, near))
    if near:
        turn.speak(lines.WARNING, prompts.rewet(turn.plan, turn.state), near[0])


def _wait_is_over(turn: Turn) -> bool:
    """In a wait: end it, or leave it for something owed. True if the mode changed."""
    step = turn.step
    choice = choose(turn.plan, turn.state)
    if not is_bridge(step.id) and choice not in (step.id, None, END):
        # What it stood for dried or was spoiled and is owed: an empty wait must not pass for a kept one.
        start(turn, choice)
        return True
    if wait_over(turn.plan, turn.state, step):
        turn.emit(
            steps.WaitEnded(turn.now_ms, step.id, turn.state.top.branch, turn.now_ms - turn.state.since_ms)
        )
        return True
    if choice not in (step.id, None, END):
        start(turn, choice)
        return True
    return False


def _next(turn: Turn) -> None:
    state = turn.state
    depth = len(state.frames)
    if state.questions and depth <= state.question_depth:
        turn.emit(troubles.QuestionsResumed(turn.now_ms))
        turn.ask()
        return
    if state.stop_depth and depth <= state.stop_depth:
        stopping.begin_stop(turn)
        return
    if not state.top.branch and next_option(turn):
        return
    choice = choose(turn.plan, state)
    if choice is None:
        turn.deviate("dead_end", state.top.branch, turn.words("dead_end"))
        stopping.stop_now(turn)
    elif choice != END:
        start(turn, choice)
    elif state.top.branch:
        mishaps.leave(turn)
    else:
        stopping.end(turn, "incomplete" if state.main.skipped else "complete")


def start(turn: Turn, step_id: str) -> None:
    """Begin a step or bridge: the fact first, then the words for it."""
    plan = turn.plan
    step = bridge_step(plan, step_id, turn.state.hands) if is_bridge(step_id) else plan.step(step_id)
    if remedies.due(plan, turn.state, step):
        remedies.ask(turn, step)
        return
    modes = {p.READING: "value", p.NOTE: "value", p.WITNESS: "witness", p.WAIT: "wait"}
    turn.emit(steps.StepStarted(turn.now_ms, step.id, turn.state.top.branch, modes.get(step.kind, "step")))
    if step.kind == p.WAIT and wait_over(plan, turn.state, step):
        return  # nothing to wait for any more; the next look ends it without a word
    turn.ask(lines.INSTRUCTION)
