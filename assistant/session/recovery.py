"""After a crash, power cut or suspend: nothing that needed watching counts."""

from __future__ import annotations

from assistant.procedure import plan as p
from assistant.session import inputs
from assistant.session.bridges import bridge_step, is_bridge
from assistant.session.facts import lines, machine, session, troubles
from assistant.session.lookup import name_of
from assistant.session.owing import break_cycle, move_opening, owe
from assistant.session.state import COMPLETE, FINAL_MODES, RUNNING
from assistant.session.turn import Turn
from assistant.session.wording import duration


def recover(turn: Turn, given: inputs.Recover) -> None:
    """Contacts are wetted again, cycles start again, openings and hands are asked about, and so is the last
    confirmation."""
    if turn.state.mode in FINAL_MODES:
        return
    plan, state = turn.plan, turn.state
    reason = turn.words("because_recovery")
    questions = [f"opening:{opening}" for opening in plan.openings]
    questions.append("hands:")
    last = next((s for s in reversed(state.confirmed) if not s.startswith("rewet:")), "")
    if last:
        questions.append(f"last:{last}")
    turn.emit(troubles.Recovered(turn.now_ms, given.why, given.unwatched_ms, tuple(questions)))
    turn.deviate(
        "unwatched", given.why, turn.words("recovered", time=duration(plan.language, given.unwatched_ms))
    )
    wet = list(turn.state.contacts)
    if wet:
        owe(turn, wet, reason)
    for run in list(turn.state.cycles.values()):
        if run.status in (RUNNING, COMPLETE):
            break_cycle(turn, run.cycle, reason)
    ask(turn)


def ask(turn: Turn) -> None:
    """The next question, or on with the work."""
    plan, state = turn.plan, turn.state
    if not state.questions:
        return
    kind, subject = state.questions[0].split(":", 1)
    if kind == "opening":
        at = turn.words("open" if state.openings[subject] == "open" else "closed")
        text = turn.words("recover_opening", name=name_of(plan, subject), position=at)
    elif kind == "hands":
        text = turn.words(f"recover_hands_{state.hands}")
    else:
        step = bridge_step(plan, subject) if is_bridge(subject) else plan.step(subject)
        text = turn.words("recover_last", step=step.say)
    turn.speak(lines.QUESTION, text)


def answer(turn: Turn, yes: bool) -> None:
    """A yes or no to the open question. No means the opposite was found, and it counts from here."""
    from assistant.session.corrections import take_back

    question = turn.state.questions[0]
    kind, subject = question.split(":", 1)
    turn.emit(troubles.RecoveryAnswered(turn.now_ms, question, yes))
    if kind == "opening" and not yes:
        move_opening(turn, subject, "closed" if turn.state.openings[subject] == "open" else "open")
    elif kind == "hands" and not yes:
        to = p.ROOM if turn.state.hands != p.ROOM else p.GAUNTLETS
        turn.emit(machine.HandsMoved(turn.now_ms, to))
    if turn.state.questions:
        ask(turn)
    elif kind == "last" and not yes:
        take_back(turn, "correction")
    else:
        turn.emit(session.Returned(turn.now_ms, "ready"))
