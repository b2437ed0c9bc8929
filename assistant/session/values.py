"""Numbers, lots and dates: read back always, checked against the procedure's limits before they are taken."""

from __future__ import annotations

from datetime import date
from decimal import Decimal, InvalidOperation

from assistant.procedure import plan as p
from assistant.session import confirming, inputs, mishaps, prompts, talk
from assistant.session.facts import lines, steps
from assistant.session.lookup import step_of
from assistant.session.state import FINAL_MODES
from assistant.session.turn import Turn

_LONGEST = 40  # characters of a value; more is not something a person has read out


def value(turn: Turn, given: inputs.Value) -> None:
    """A value was heard. Outside a question for one it is refused and changes nothing."""
    started, ended = talk.heard_span(turn, given)
    state = turn.state
    over = talk.over_speech(turn, given.source, started)
    wanted = state.mode == "value" or (state.mode == "which" and bool(state.which))
    late = wanted and talk.too_old(turn, started)
    reason = (
        "while speaking" if over else "no value was asked for" if not wanted
        else "said before the question" if late else ""
    )
    turn.emit(
        lines.Heard(
            turn.now_ms, "", not reason, reason, given.source, started, ended, given.said, given.value,
            given.confidence_pm, given.scores, given.clip_sha256, state.person,
        )
    )
    if over:
        return
    if not wanted:
        over_now = state.mode in FINAL_MODES
        turn.speak(lines.REFUSAL, turn.words("not_now_over" if over_now else "not_now_value"))
    elif late:
        talk.return_line(turn)
    elif state.mode == "which":
        mishaps.choose(turn, given.value, started, ended)
    else:
        _hear(turn, step_of(turn.plan, state), given.value.strip())


def _hear(turn: Turn, step: p.Step, text: str) -> None:
    problem = _unusable(step, text)
    if problem:
        turn.emit(steps.ValueDropped(turn.now_ms, step.id, text[:_LONGEST], problem))
        turn.speak(lines.REFUSAL, turn.words("value_bad"), step.id)
        return
    turn.emit(steps.ValueHeard(turn.now_ms, step.id, text))
    turn.ask()


def _unusable(step: p.Step, text: str) -> str:
    """Why a text can't be a value of this kind, or ""."""
    if not text or len(text) > _LONGEST:
        return "empty or too long"
    if step.value_kind == "number" and _number(text) is None:
        return "not a number"
    if step.value_kind == "date":
        try:
            date.fromisoformat(text)
        except ValueError:
            return "not a date"
    return ""


def confirm_value(turn: Turn, ended_ms: int, source: str) -> None:
    """The read back is confirmed: the value counts, unless it is one that must not be used."""
    step, text = step_of(turn.plan, turn.state), turn.state.value
    problem = limit_problem(turn, step, text)
    then = step.on_outside or ("deviate" if step.kind == p.READING else "again")
    if problem and (step.kind == p.NOTE or then == "again"):
        turn.emit(steps.ValueDropped(turn.now_ms, step.id, text, problem))
        turn.deviate("value_refused" if step.kind == p.NOTE else "reading_outside", step.id, problem)
        if then == "stop" or then.startswith("mishap:"):
            confirming.on_no(turn, step, then, ended_ms, source)
        else:
            turn.ask(lines.INSTRUCTION)
        return
    turn.emit(steps.ValueAccepted(turn.now_ms, step.id, text, step.unit, not problem))
    if problem:
        turn.deviate("reading_outside", step.id, problem)
        if then != "deviate":
            confirming.on_no(turn, step, then, ended_ms, source)
            return
    confirming.finish(turn, step, ended_ms, source)


def drop_value(turn: Turn) -> None:
    """The read back was wrong: asked for again."""
    turn.emit(steps.ValueDropped(turn.now_ms, turn.state.current, turn.state.value, "read back answered no"))
    turn.speak(lines.QUESTION, turn.words("value_again"), turn.state.current)


def limit_problem(turn: Turn, step: p.Step, text: str) -> str:
    """A plain sentence where `text` is outside the step's limits or a passed date; else ""."""
    if step.value_kind == "number":
        number = _number(text)
        if step.low and number < Decimal(step.low):
            return turn.words("value_too_low", value=prompts.spelled(text, step), limit=step.low)
        if step.high and number > Decimal(step.high):
            return turn.words("value_too_high", value=prompts.spelled(text, step), limit=step.high)
    if step.value_kind == "date" and step.not_before_today and turn.plan.today and text < turn.plan.today:
        return turn.words("value_expired")
    return ""


def _number(text: str) -> Decimal | None:
    try:
        number = Decimal(text)
    except InvalidOperation:
        return None
    return number if number.is_finite() else None
