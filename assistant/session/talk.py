"""A word was heard: is it allowed now, and who handles it."""

from __future__ import annotations

from assistant.procedure import plan as p
from assistant.session import confirming, corrections, inputs, mishaps, recovery, starting, stopping, values
from assistant.session import words as w
from assistant.session.allowed import allowed_words
from assistant.session.answers import answer_question, return_line
from assistant.session.facts import contacts, lines, session, steps
from assistant.session.lookup import step_of
from assistant.session.state import FINAL_MODES
from assistant.session.turn import Turn

_OFFER_KEYS_AFTER = 3
_OFFER_STOP_AFTER = 6
# Words that answer whatever is open: never one that came up after they were begun.
_ANSWERS = frozenset((w.CONFIRM, w.NO, w.STARTED, w.SKIP))
# Words whose meaning is the same however the assistant is sounding.
_OVER_SPEECH = frozenset((w.STOP, w.REPEAT))


def word(turn: Turn, given: inputs.Word) -> None:
    """Record what was heard, then act on it or say why not. Raises ValueError for an unknown command."""
    if given.word not in w.ALL:
        raise ValueError(f"unknown command {given.word!r}; known: {', '.join(sorted(w.ALL))}")
    ended = turn.now_ms if given.ended_ms is None else min(given.ended_ms, turn.now_ms)
    started = ended if given.started_ms is None else min(given.started_ms, ended)
    allowed = given.word in allowed_words(turn.plan, turn.state)
    over = _over_speech(turn, given)
    late = given.word in _ANSWERS and (turn.overtaken or started < turn.state.entered_ms)
    reason = "while speaking" if over else "not now" if not allowed else "said before the question" if late else ""
    turn.emit(
        lines.Heard(
            turn.now_ms, given.word, not reason, reason, given.source, started, ended, given.said, "",
            given.confidence_pm, given.scores, given.clip_sha256, turn.state.person,
        )
    )
    if over:
        return  # the line that is sounding is the answer; a second voice over it would help nobody
    if allowed and late:
        return_line(turn)
        return
    if not allowed:
        refuse(turn, given.word)
        return
    _act(turn, given.word, started, ended, given.source)


def _over_speech(turn: Turn, given: inputs.Word) -> bool:
    """A voice at the microphone while the assistant speaks counts for nothing but stop (and repeat)."""
    return given.source == "voice" and bool(turn.state.open_lines) and given.word not in _OVER_SPEECH


def misheard(turn: Turn, given: inputs.Misheard) -> None:
    """Something was said that isn't a command, or can't be trusted. Never a guess."""
    ended = turn.now_ms if given.ended_ms is None else min(given.ended_ms, turn.now_ms)
    started = ended if given.started_ms is None else min(given.started_ms, ended)
    turn.emit(
        lines.Heard(
            turn.now_ms, given.word, False, given.reason or "not understood", given.source, started, ended,
            given.said, "", given.confidence_pm, given.scores, given.clip_sha256, turn.state.person,
        )
    )
    state = turn.state
    if state.mode in FINAL_MODES or state.open_lines:
        return
    if state.misheard in (_OFFER_KEYS_AFTER, _OFFER_STOP_AFTER):
        stop_too = state.misheard >= _OFFER_STOP_AFTER
        turn.emit(lines.KeysOffered(turn.now_ms, state.misheard, stop_too))
        turn.speak(lines.REFUSAL, turn.words("keys_stop" if stop_too else "keys"))
    elif state.misheard == 1:
        turn.speak(lines.REFUSAL, turn.words("misheard"))


def refuse(turn: Turn, given: str) -> None:
    """Not now: the reason, and what counts."""
    state = turn.state
    turn.emit(lines.NotNow(turn.now_ms, given, state.mode))
    if state.mode in FINAL_MODES:
        turn.speak(lines.REFUSAL, turn.words("not_now_over"))
        return
    reasons = {"paused": "not_now_paused", "wait": "not_now_wait"}
    key = reasons.get(state.mode, "not_now_plain")
    if state.mode in ("option", "trouble", "which", "recover", "stopping", "read_back", "value_back"):
        key = "not_now_question"
    if given == w.STARTED:
        key = "not_now_wet"
    elif given == w.SKIP and state.mode == "wait":
        key = "not_now_wait_skip"
    turn.speak(lines.REFUSAL, turn.words("not_now", reason=turn.words(key), words=count_now(turn)))


def count_now(turn: Turn) -> str:
    """The few words that carry the work on from here, as said; the others are always there."""
    always = frozenset((*w.QUESTIONS, *w.MANNERS, *w.MISHAPS, w.KEYS, w.GO_BACK, w.SKIP, w.PAUSE))
    spoken = turn.plan.spoken
    names = [spoken.get(x, turn.spoken_default(x)) for x in sorted(allowed_words(turn.plan, turn.state) - always)]
    return ", ".join(names)


def _act(turn: Turn, said: str, started: int, ended: int, source: str) -> None:
    mode = turn.state.mode
    if said in w.QUESTIONS or said == w.KEYS:
        answer_question(turn, said)
    elif said in w.MANNERS:
        turn.emit(lines.MannerChanged(turn.now_ms, said))
        turn.speak(lines.ANSWER, turn.words(f"{said}_on" if said in (w.BRIEF, w.FULL) else said))
    elif said in w.MISHAPS:
        mishaps.named(turn, said, started)
    elif said in (w.COMPUTER, w.ENCLOSURE):
        mishaps.choose_power(turn, said, ended)
    elif said == w.STOP:
        stopping.begin_stop(turn)
    elif said == w.TROUBLE:
        mishaps.ask_trouble(turn)
    elif said == w.PAUSE:
        turn.emit(session.Paused(turn.now_ms))
        turn.speak(lines.ANSWER, turn.words("paused"))
    elif said in (w.RESUME, w.CANCEL):
        turn.emit(session.Returned(turn.now_ms, turn.state.under[-1]))
        return_line(turn)
    elif said in (w.CORRECTION, w.GO_BACK):
        _correct(turn, mode, said)
    elif said == w.STARTED:
        _stroke(turn, ended)
    elif said == w.SKIP:
        turn.emit(steps.ReadBackAsked(turn.now_ms, turn.state.current, "skip", ended))
        turn.speak(lines.QUESTION, turn.words("skip_back"), turn.state.current)
    elif said == w.CONFIRM:
        _confirm(turn, mode, ended, source)
    elif said == w.NO:
        _no(turn, mode, ended, source)


def _confirm(turn: Turn, mode: str, ended: int, source: str) -> None:
    if mode == "step":
        step = step_of(turn.plan, turn.state)
        if step.kind == p.CHECK:
            confirming.answer_check(turn, True, ended, source)
        else:
            confirming.confirm_step(turn, ended, source)
    elif mode == "read_back":
        confirming.confirm_read_back(turn, source)
    elif mode == "value_back":
        values.confirm_value(turn, ended, source)
    elif mode == "rewet":
        confirming.confirm_rewet(turn, ended)
    elif mode == "option":
        starting.answer_option(turn, True)
    elif mode == "recover":
        recovery.answer(turn, True)
    elif mode == "stopping":
        stopping.end(turn, "stopped")


def _no(turn: Turn, mode: str, ended: int, source: str) -> None:
    if mode in ("read_back", "witness"):
        if mode == "witness" and turn.state.under == ():
            refuse(turn, w.NO)
        else:
            confirming.drop_claim(turn)
    elif mode == "value_back":
        values.drop_value(turn)
    elif mode == "option":
        starting.answer_option(turn, False)
    elif mode == "recover":
        recovery.answer(turn, False)
    elif mode == "step":
        confirming.answer_check(turn, False, ended, source)


def _correct(turn: Turn, mode: str, said: str) -> None:
    """In a read back the last thing said is taken back; elsewhere the last confirmation is."""
    if mode == "read_back":
        confirming.drop_claim(turn)
    elif mode == "value_back":
        values.drop_value(turn)
    else:
        corrections.take_back(turn, said)


def _stroke(turn: Turn, ended: int) -> None:
    if turn.state.mode == "rewet":
        surface = turn.state.rewets[0]
        asked = turn.state.contacts[surface].asked_ms
        turn.emit(contacts.RewetStroke(turn.now_ms, surface, max(ended, asked)))
    else:
        step = step_of(turn.plan, turn.state)
        turn.emit(steps.StrokeStarted(turn.now_ms, step.id, step.surface, max(ended, turn.state.since_ms)))
