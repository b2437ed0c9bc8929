"""A word was heard: is it allowed now, and who handles it."""

from __future__ import annotations

from assistant.language import vocabulary as w
from assistant.procedure.model import plan as p
from assistant.session import inputs
from assistant.session.asking import prompts
from assistant.session.facts import contacts, lines, session, steps
from assistant.session.lookup import remedy_surface, said_as
from assistant.session.order import starting
from assistant.session.order.bridges import SIGN_IN, is_bridge
from assistant.session.state import FINAL_MODES
from assistant.session.troubles import mishaps, recovery, remedies, stopping
from assistant.session.turn import Turn
from assistant.session.words import confirming, corrections, values
from assistant.session.words.allowed import allowed_words
from assistant.session.words.answers import answer_question, return_line
from assistant.session.words.utterance import heard_span, over_speech, too_old

_OFFER_KEYS_AFTER = 3  # and again after as many more, then with a safe stop
# Words that answer whatever is open: never one that came up after they were begun.
_ANSWERS = frozenset((w.CONFIRM, w.NO, w.STARTED, w.REWETTED, w.SKIP, w.CANCEL, w.RESUME, w.COMPUTER, w.ENCLOSURE))
# Words whose meaning is the same however the assistant is sounding.
_OVER_SPEECH = frozenset((w.STOP, w.REPEAT))
_REASONS = {"wait": "not_now_wait", "witness": "not_now_witness"}
_QUESTION_MODES = frozenset(("option", "trouble", "which", "recover", "stopping", "read_back", "value_back"))


def word(turn: Turn, given: inputs.Word) -> None:
    """Record what was heard, then act on it or say why not. Raises ValueError for an unknown command."""
    if given.word not in w.ALL:
        raise ValueError(f"unknown command {given.word!r}; known: {', '.join(sorted(w.ALL))}")
    started, ended = heard_span(turn, given)
    below = given.word == w.CONFIRM and before_rewet(turn, started, ended)
    over = not below and given.word not in _OVER_SPEECH and over_speech(turn, given.source, started)
    allowed = below or given.word in allowed_words(turn.plan, turn.state) or _unplanned(turn, given.word)
    late = not below and given.word in _ANSWERS and too_old(turn, started)
    reason = "while speaking" if over else "not now" if not allowed else "said before the question" if late else ""
    turn.emit(
        lines.Heard(
            turn.now_ms, given.word, not reason, reason, given.source, started, ended, given.said, "",
            given.confidence_pm, given.scores, given.clip_sha256, turn.state.person,
        )
    )
    if over:
        return  # the line that is sounding is the answer; a second voice over it would help nobody
    if not allowed:
        refuse(turn, given.word)
    elif late:
        return_line(turn)
    elif below:
        turn.emit(session.Returned(turn.now_ms, turn.state.under[-1]))
        _confirm(turn, turn.state.mode, ended, given.source)
    else:
        _act(turn, given.word, started, ended, given.source)


def before_rewet(turn: Turn, started_ms: int, ended_ms: int) -> bool:
    """Whether a confirmation was over before the re-wet at hand was asked for, and so can only speak of what that
    was laid over."""
    state = turn.state
    since, until = state.before_rewet_ms
    return (
        state.mode == "rewet" and since <= started_ms and ended_ms < until
        and state.under[-1] in ("step", "read_back", "value_back")
        and state.current != SIGN_IN
    )


def _unplanned(turn: Turn, said: str) -> bool:
    """A mishap the procedure has no branch for. It is answered all the same wherever work is open."""
    return said in w.MISHAPS and turn.state.mode not in FINAL_MODES and mishaps.planned(turn.plan, said) is None


def misheard(turn: Turn, given: inputs.Misheard) -> None:
    """Something was said that isn't a command, or can't be trusted. Never a guess."""
    started, ended = heard_span(turn, given)
    # The listener knows sounds that overlap a line even when they are decided after its end: most likely the
    # assistant's own voice, so nobody failed to make themselves understood.
    over = over_speech(turn, given.source, started) or given.reason == "while speaking"
    reason = "while speaking" if over else given.reason or "not understood"
    turn.emit(
        lines.Heard(
            turn.now_ms, given.word, False, reason, given.source, started, ended,
            given.said, "", given.confidence_pm, given.scores, given.clip_sha256, turn.state.person,
        )
    )
    state = turn.state
    if state.mode in FINAL_MODES or state.open_lines or over:
        return
    if state.mode == "value" and given.source == "voice" and values.failed(turn):
        return
    if state.misheard and state.misheard % _OFFER_KEYS_AFTER == 0:
        stop_too = state.misheard > _OFFER_KEYS_AFTER
        turn.emit(lines.KeysOffered(turn.now_ms, state.misheard, stop_too))
        turn.speak(lines.REFUSAL, turn.words("keys_stop" if stop_too else "keys"))
    elif state.misheard == 1:
        turn.speak(lines.REFUSAL, turn.words("misheard"))


def refuse(turn: Turn, given: str, reason_key: str = "") -> None:
    """Not now: the reason, and what counts."""
    state = turn.state
    turn.emit(lines.NotNow(turn.now_ms, given, state.mode))
    if state.mode in FINAL_MODES:
        turn.speak(lines.REFUSAL, turn.words("not_now_over"))
        return
    if given == w.CONFIRM and state.mode == "rewet":
        # It can be meant for the step at hand or for the re-wet; so it counts for neither.
        turn.speak(lines.REFUSAL, prompts.rewet(turn.plan, state, first=True), state.rewets[0])
        return
    key = reason_key or _reason(turn, given)
    reason = turn.words(key) if key else prompts.value_wanted(turn.plan, state, turn.step)
    turn.speak(lines.REFUSAL, turn.words("not_now", reason=reason, words=count_now(turn)))


def _reason(turn: Turn, given: str) -> str:
    """The key of the reason; "" where a value is asked for, which says best what it wants."""
    mode = turn.state.mode
    if given == w.SKIP and mode == "wait":
        return "not_now_wait_skip"
    if given == w.SKIP and is_bridge(turn.state.current) and mode == "step":
        return "not_now_needed"
    if given == w.CONFIRM and turn.state.current == SIGN_IN and mode == "step":
        return "not_now_sign_in"
    if mode == "paused":
        return "not_now_paused"
    if given == w.STARTED and mode == "rewet":
        return "not_now_two_wet"
    if given == w.STARTED:
        return "not_now_wet"
    if mode in _QUESTION_MODES:
        return "not_now_question"
    if mode == "value":
        return ""
    return _REASONS.get(mode, "not_now_plain")


def count_now(turn: Turn) -> str:
    """The few words that carry the work on from here, as said; the others are always there."""
    always = frozenset((*w.QUESTIONS, *w.MANNERS, *w.MISHAPS, w.KEYS, w.GO_BACK, w.SKIP, w.PAUSE))
    return ", ".join(said_as(turn.plan, x) for x in sorted(allowed_words(turn.plan, turn.state) - always))


def _act(turn: Turn, said: str, started: int, ended: int, source: str) -> None:
    mode = turn.state.mode
    if said in w.QUESTIONS or said == w.KEYS:
        answer_question(turn, said)
    elif said in w.MANNERS:
        turn.emit(lines.MannerChanged(turn.now_ms, said))
        turn.speak(lines.ANSWER, turn.words(f"{said}_on" if said in (w.BRIEF, w.FULL) else said))
    elif said in w.MISHAPS:
        mishaps.named(turn, said, started, ended)
    elif said in (w.COMPUTER, w.ENCLOSURE):
        mishaps.choose_power(turn, said, started, ended)
    elif said == w.STOP:
        stopping.begin_stop(turn)
    elif said == w.TROUBLE:
        mishaps.ask_trouble(turn)
    elif said == w.PAUSE:
        turn.emit(session.Paused(turn.now_ms))
        turn.speak(lines.ANSWER, turn.words("paused"))
    elif said == w.CANCEL and remedy_surface(turn.state):
        remedies.choose(turn, remedies.GO_ON)
    elif said in (w.RESUME, w.CANCEL):
        turn.emit(session.Returned(turn.now_ms, turn.state.under[-1]))
        return_line(turn)
    elif said == w.CORRECTION and mode == "trouble":
        starting.which_answer(turn)
    elif said in (w.CORRECTION, w.GO_BACK):
        _correct(turn, mode, said, source)
    elif said == w.STARTED:
        _stroke(turn, ended)
    elif said == w.SKIP:
        turn.emit(steps.ReadBackAsked(turn.now_ms, turn.state.current, "skip", ended))
        turn.ask()
    elif said == w.REWETTED:
        confirming.confirm_rewet(turn, ended)
    elif said == w.CONFIRM:
        _confirm(turn, mode, ended, source)
    elif said == w.NO:
        _no(turn, mode, ended, source)


def _confirm(turn: Turn, mode: str, ended: int, source: str) -> None:
    if mode == "step":
        confirming.confirm_step(turn, ended, source)
    elif mode == "read_back":
        confirming.confirm_read_back(turn, ended, source)
    elif mode == "value":
        values.confirm_spelt(turn)
    elif mode == "value_back":
        values.confirm_value(turn, ended, source)
    elif mode == "option":
        starting.answer_option(turn, True)
    elif mode == "recover":
        recovery.answer(turn, True)
    elif mode == "stopping":
        stopping.end(turn, "stopped")


def _no(turn: Turn, mode: str, ended: int, source: str) -> None:
    if mode in ("read_back", "witness"):
        confirming.drop_claim(turn)
    elif mode == "value":
        values.take_sign_back(turn)
    elif mode == "value_back":
        values.drop_value(turn, source)
    elif mode == "option":
        starting.answer_option(turn, False)
    elif mode == "recover":
        recovery.answer(turn, False)
    elif turn.state.questioned:
        confirming.drop_claim(turn)
    else:
        step = turn.step
        turn.emit(steps.CheckAnswered(turn.now_ms, step.id, False))
        confirming.on_no(turn, step, step.on_no, ended, source)


def _correct(turn: Turn, mode: str, said: str, source: str) -> None:
    """In a read back the last thing said is taken back, in a value said sign by sign the last sign; elsewhere the
    last confirmation is."""
    if mode == "read_back" or (turn.state.questioned and mode == "step") or (mode == "witness" and turn.state.under):
        confirming.drop_claim(turn)
    elif mode == "value" and turn.state.spelling and said == w.CORRECTION:
        values.take_sign_back(turn)
    elif mode == "value_back":
        values.drop_value(turn, source, mend=said == w.CORRECTION)
    elif turn.state.patch_since_ms >= 0 and mode == "step" and turn.step.kind == p.PATCH:
        confirming.drop_patch(turn)
    elif mode == "option" and turn.state.questioned:
        starting.drop_answer(turn)
    elif mode == "option":
        starting.take_answer_back(turn, list(turn.state.options)[-1])
    else:
        corrections.take_back(turn, said)


def _stroke(turn: Turn, ended: int) -> None:
    if turn.state.mode == "rewet":
        surface = turn.state.rewets[0]
        asked = turn.state.contacts[surface].asked_ms
        turn.emit(contacts.RewetStroke(turn.now_ms, surface, max(ended, asked)))
    else:
        step = turn.step
        turn.emit(steps.StrokeStarted(turn.now_ms, step.id, step.surface, max(ended, turn.state.since_ms)))
