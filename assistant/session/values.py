"""Numbers, lots and dates: read back always, checked against the procedure's limits before they are taken."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation

from assistant.procedure import plan as p
from assistant.session import confirming, inputs, mishaps
from assistant.session.facts import lines, steps
from assistant.session.lookup import step_of
from assistant.session.turn import Turn


def value(turn: Turn, given: inputs.Value) -> None:
    """A value was heard. Outside a question for one it is refused and changes nothing."""
    ended = turn.now_ms if given.ended_ms is None else min(given.ended_ms, turn.now_ms)
    started = ended if given.started_ms is None else min(given.started_ms, ended)
    wanted = turn.state.mode == "value" or (turn.state.mode == "which" and bool(turn.state.which))
    turn.emit(
        lines.Heard(
            turn.now_ms, "", wanted, "" if wanted else "no value was asked for", given.source, started, ended,
            given.said, given.value, given.confidence_pm, given.scores, given.clip_sha256, turn.state.person,
        )
    )
    if not wanted:
        return
    if turn.state.mode == "which":
        mishaps.choose(turn, given.value, ended)
        return
    step = step_of(turn.plan, turn.state)
    if step.value_kind == "number" and _number(given.value) is None:
        turn.emit(steps.ValueDropped(turn.now_ms, step.id, given.value, "not a number"))
        turn.speak(lines.REFUSAL, turn.words("value_bad"), step.id)
        return
    turn.emit(steps.ValueHeard(turn.now_ms, step.id, given.value))
    turn.speak(lines.QUESTION, turn.words("value_back", value=_spelled(given.value, step)), step.id)


def confirm_value(turn: Turn, ended_ms: int, source: str) -> None:
    """The read back is confirmed: the value counts, and may be outside its limits."""
    step, text = step_of(turn.plan, turn.state), turn.state.value
    problem = limit_problem(turn, step, text)
    if step.kind == p.NOTE and problem:
        turn.emit(steps.ValueDropped(turn.now_ms, step.id, text, problem))
        turn.deviate("value_refused", step.id, problem)
        return
    turn.emit(steps.ValueAccepted(turn.now_ms, step.id, text, step.unit, not problem))
    if problem:
        turn.deviate("reading_outside", step.id, problem)
        if step.on_outside != "deviate":
            confirming.on_no(turn, step, step.on_outside or "stop", ended_ms, source)
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
            return turn.words("value_too_low", value=text, limit=step.low)
        if step.high and number > Decimal(step.high):
            return turn.words("value_too_high", value=text, limit=step.high)
    if step.value_kind == "date" and step.not_before_today and turn.plan.today and text < turn.plan.today:
        return turn.words("value_expired")
    return ""


def _number(text: str) -> Decimal | None:
    try:
        number = Decimal(text)
    except InvalidOperation:
        return None
    return number if number.is_finite() else None


def _spelled(text: str, step: p.Step) -> str:
    """Digit by digit, as it is read back; a date stays in its parts."""
    if step.value_kind == "number":
        unit = f" {step.unit}" if step.unit else ""
        return f"{text}{unit}"
    if step.value_kind == "lot":
        return " ".join(text)
    return text
