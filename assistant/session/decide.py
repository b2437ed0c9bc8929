"""`decide(plan, state, input, now_ms) -> facts`: the one place where something follows from something.

First the clock: whatever fell due up to `now_ms` happens, in order. Then the input. Then the session settles:
announcements that may be made, and the next thing to do if nothing is open.
"""

from __future__ import annotations

from assistant.procedure.plan import Plan
from assistant.session import confirming, inputs, recovery, talk, values, wet_times
from assistant.session.facts import troubles as d
from assistant.session.facts import lines, session
from assistant.session.facts.base import Fact
from assistant.session.inputs import Input
from assistant.session.settle import settle
from assistant.session.starting import begin
from assistant.session.state import FINAL_MODES, State
from assistant.session.turn import Turn


def decide(plan: Plan, state: State, given: Input, now_ms: int) -> tuple[Fact, ...]:
    """The facts that follow. `now_ms` earlier than the state's own time counts as that time.

    Raises TypeError for something that isn't an input.
    """
    turn = Turn(plan, state, max(now_ms, state.now_ms))
    if not isinstance(given, inputs.Recover):  # nothing completes in time that nobody watched
        wet_times.pass_time(turn)
    turn.overtaken = state.entered_ms != turn.state.entered_ms or state.mode != turn.state.mode
    _take(turn, given)
    settle(turn)
    return tuple(turn.facts)


def _take(turn: Turn, given: Input) -> None:
    handler = _HANDLERS.get(type(given))
    if handler is None:
        raise TypeError(f"not an input: {given!r}")
    if turn.state.mode == "idle" and not isinstance(given, inputs.Begin):
        return  # nothing can happen before the start
    handler(turn, given)


def _line_done(turn: Turn, given: inputs.LineDone) -> None:
    if given.line in turn.state.open_lines:
        turn.emit(lines.LineEnded(turn.now_ms, given.line, given.started_ms, given.ended_ms, given.interrupted))


def _sign_in(turn: Turn, given: inputs.SignIn) -> None:
    if given.person != turn.state.person and turn.state.mode not in FINAL_MODES:
        turn.emit(session.PersonChanged(turn.now_ms, given.person, turn.state.person))
        turn.speak(lines.NOTICE, turn.words("signed_in", person=given.person))


def _lost(turn: Turn, given: inputs.Lost) -> None:
    if given.device in turn.state.lost:
        return
    turn.emit(d.DeviceLost(turn.now_ms, given.device, given.detail))
    if turn.state.mode not in FINAL_MODES:
        key = "mic_lost" if given.device == "microphone" else "device_lost"
        turn.speak(lines.WARNING, turn.words(key, device=given.device))


def _back(turn: Turn, given: inputs.Back) -> None:
    if given.device in turn.state.lost:
        turn.emit(d.DeviceBack(turn.now_ms, given.device))
        if turn.state.mode not in FINAL_MODES:
            turn.speak(lines.NOTICE, turn.words("device_back", device=given.device))
            talk.return_line(turn)


def _clock(turn: Turn, given: inputs.ClockStep) -> None:
    turn.emit(d.ClockStepped(turn.now_ms, given.step_ms))


def _gap(turn: Turn, given: inputs.Gap) -> None:
    turn.emit(d.SoundGap(turn.now_ms, given.gap_ms, given.detail))


def _tick(turn: Turn, given: inputs.Tick) -> None:
    """Time has already passed."""


_HANDLERS = {
    inputs.Begin: begin,
    inputs.Word: talk.word,
    inputs.Value: values.value,
    inputs.Misheard: talk.misheard,
    inputs.Tick: _tick,
    inputs.LineDone: _line_done,
    inputs.Witness: confirming.witness,
    inputs.SignIn: _sign_in,
    inputs.Lost: _lost,
    inputs.Back: _back,
    inputs.Recover: recovery.recover,
    inputs.ClockStep: _clock,
    inputs.Gap: _gap,
}


