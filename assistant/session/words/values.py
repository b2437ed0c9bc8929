"""Numbers, lots and dates: read back always, checked against the procedure's limits before they are taken."""

from __future__ import annotations

from datetime import date
from decimal import Decimal, InvalidOperation

from assistant.language import spelling
from assistant.language.sentences import SIGNS
from assistant.procedure.model import plan as p
from assistant.session import inputs
from assistant.session.asking import prompts
from assistant.session.facts import lines, steps
from assistant.session.state import FINAL_MODES
from assistant.session.troubles import mishaps
from assistant.session.turn import Turn
from assistant.session.words import confirming
from assistant.session.words.answers import return_line
from assistant.session.words.utterance import heard_span, over_speech, too_old

_SPELL_AFTER = 2  # values that failed, said whole; as many rounds of signs, and the keys are offered
_LONGEST = 40  # characters of a value; more is not something a person has read out


def value(turn: Turn, given: inputs.Value) -> None:
    """A value was heard. Outside a question for one it is refused and changes nothing."""
    started, ended = heard_span(turn, given)
    state = turn.state
    over = over_speech(turn, given.source, started)
    wanted = state.mode == "value" or (state.mode == "which" and bool(state.which))
    late = wanted and too_old(turn, started)
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
        return_line(turn)
    elif state.mode == "which":
        mishaps.choose(turn, given.value, started, ended)
    elif state.spelling and given.source == "voice" and len(given.value) == 1:
        _sign(turn, turn.step, given.value)
    else:
        mends = given.source == "voice" and bool(state.to_mend)
        text = given.value.strip()
        _hear(turn, turn.step, spelling.mended(state.to_mend, text) if mends else text)


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
    step, text = turn.step, turn.state.value
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


def drop_value(turn: Turn, source: str, *, mend: bool = False) -> None:
    """The read back was wrong: asked for again. `mend`: the wrong part alone will do."""
    step = turn.step
    mend = mend and source == "voice" and not turn.state.spelling and step.value_kind in (spelling.NUMBER, spelling.LOT)
    turn.emit(steps.ValueDropped(turn.now_ms, step.id, turn.state.value, "read back answered no", mend))
    if source != "voice" or not failed(turn):
        turn.speak(lines.QUESTION, turn.words("value_mend" if mend else "value_again"), step.id)


def failed(turn: Turn) -> bool:
    """A value said into the microphone wasn't heard, or not rightly. True where that has led to something said:
    where whole values fail it is one sign at a time, and where that fails, the keys."""
    state = turn.state
    if not SIGNS[turn.plan.language] or (state.spelling and state.misheard):
        return False  # a sign that wasn't heard is said again
    times = state.value_fails + 1
    turn.emit(steps.ValueFailed(turn.now_ms, state.current, times))
    if times < _SPELL_AFTER:
        return False
    if not state.spelling:
        turn.emit(steps.SpellingAsked(turn.now_ms, state.current))
    elif times >= 2 * _SPELL_AFTER:
        turn.emit(lines.KeysOffered(turn.now_ms, times))
        turn.speak(lines.REFUSAL, turn.words("keys"))
    turn.ask()
    return True


def _sign(turn: Turn, step: p.Step, sign: str) -> None:
    said = prompts.sign_word(sign, step.value_kind, turn.plan.language)
    if not spelling.may_follow(step.value_kind, turn.state.spelt, sign):
        turn.speak(lines.REFUSAL, turn.words("spelt_odd", value=said), step.id)
        return
    turn.emit(steps.SignsHeard(turn.now_ms, step.id, turn.state.spelt + sign))
    if step.value_kind == spelling.DATE and spelling.whole(spelling.DATE, turn.state.spelt):
        confirm_spelt(turn)
    else:
        turn.speak(lines.ANSWER, turn.words("spelt_sign", value=said), step.id)


def confirm_spelt(turn: Turn) -> None:
    """All signs are said: now the value is read back as a whole."""
    step = turn.step
    _hear(turn, step, spelling.whole(step.value_kind, turn.state.spelt))


def take_sign_back(turn: Turn) -> None:
    """The last sign was wrong."""
    if not turn.state.spelt:
        turn.ask(lines.ANSWER)
        return
    turn.emit(steps.SignsHeard(turn.now_ms, turn.state.current, turn.state.spelt[:-1]))
    rest = prompts.prompt(turn.plan, turn.state)
    turn.speak(lines.ANSWER, turn.words("spelt_back") + " " + rest, turn.state.current)


def limit_problem(turn: Turn, step: p.Step, text: str) -> str:
    """A plain sentence where `text` is outside the step's limits or a passed date; else ""."""
    if step.value_kind == "number":
        number = _number(text)
        if number is None:
            return turn.words("value_bad")  # never here: what is no number wasn't taken for a value
        if step.low and number < Decimal(step.low):
            return turn.words("value_too_low", value=prompts.spelled(text, step, turn.plan.language), limit=step.low)
        if step.high and number > Decimal(step.high):
            return turn.words("value_too_high", value=prompts.spelled(text, step, turn.plan.language), limit=step.high)
    if step.value_kind == "date" and step.not_before_today and turn.plan.today and text < turn.plan.today:
        return turn.words("value_expired")
    return ""


def _number(text: str) -> Decimal | None:
    try:
        number = Decimal(text)
    except InvalidOperation:
        return None
    return number if number.is_finite() else None
