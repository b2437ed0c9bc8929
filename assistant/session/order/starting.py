"""The start: who, what, cautions, and the questions the procedure asks first."""

from __future__ import annotations

from assistant.session import inputs
from assistant.session.facts import lines, session
from assistant.session.turn import Turn


def begin(turn: Turn, given: inputs.Begin) -> None:
    """Open the session. A second Begin changes nothing. Raises ValueError for an unknown option."""
    if turn.state.mode != "idle":
        return
    plan = turn.plan
    known = {option.id for option in plan.options}
    for option, _ in given.options:
        if option not in known:
            raise ValueError(f"unknown option {option!r}; this procedure has: {', '.join(sorted(known)) or 'none'}")
    turn.emit(
        session.SessionBegun(
            turn.now_ms, given.person, given.kind, plan.procedure, plan.revision, plan.sha256, plan.enclosure,
            given.voice, given.brief,
        )
    )
    if given.kind == "practice":
        turn.speak(lines.NOTICE, turn.words("practice"))
    turn.speak(lines.NOTICE, turn.words("begin", title=plan.title, enclosure=plan.enclosure_name))
    for caution in plan.cautions:
        turn.speak(lines.NOTICE, caution)
    for option, value in given.options:
        turn.emit(session.OptionAnswered(turn.now_ms, option, value, "preset"))


def next_option(turn: Turn) -> bool:
    """Ask the next open question; False when all are answered."""
    for option in turn.plan.options:
        if option.id not in turn.state.options:
            turn.emit(session.OptionAsked(turn.now_ms, option.id))
            turn.ask()
            return True
    return False


def answer_option(turn: Turn, yes: bool) -> None:
    """A spoken answer to the question that is open."""
    turn.emit(session.OptionAnswered(turn.now_ms, turn.state.value, yes))
    turn.speak(lines.ANSWER, turn.words("option_yes" if yes else "option_no"))
