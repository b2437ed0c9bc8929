"""What comes from devices and people beside the technician's words: ends of lines, losses, clocks, sign-ins."""

from __future__ import annotations

from assistant.language import vocabulary as w
from assistant.session import inputs
from assistant.session.facts import lines, session, troubles
from assistant.session.lookup import same_person
from assistant.session.state import FINAL_MODES
from assistant.session.troubles import mishaps
from assistant.session.turn import Turn
from assistant.session.words.answers import return_line

# What is said when it goes and when it is back; any other device is told of by its name. "listening" is the engine.
_SAYS = {
    "microphone": ("mic_lost", "mic_back"), "headset": ("headset_lost", "headset_back"),
    "listening": ("engine_lost", "engine_back"),
}
_SAYS_OF_OTHERS = ("device_lost", "device_back")


def line_done(turn: Turn, given: inputs.LineDone) -> None:
    """A line has sounded, or was cut short. One that isn't on its way changes nothing."""
    if given.line in turn.state.open_lines:
        turn.emit(lines.LineEnded(turn.now_ms, given.line, given.started_ms, given.ended_ms, given.interrupted))


def sign_in(turn: Turn, given: inputs.SignIn) -> None:
    """Somebody takes over at the gauntlets. At work that is a hand-over, with its hygiene and its check of the
    microphone, whether or not the word was said first."""
    state = turn.state
    if state.mode in FINAL_MODES or not given.person.strip() or same_person(given.person, state.person):
        return
    handing = any(_is_hand_over(turn, f.branch) for f in state.frames)
    if not handing and state.mode not in ("option", "recover"):
        mishap = next((m for m in turn.plan.mishaps.values() if m.word == w.HAND_OVER), None)
        if mishap is not None and mishaps.put_off(turn, mishap, turn.now_ms):
            return  # they are asked to sign in when it is time
        if mishap is not None:
            mishaps.enter(turn, mishap, turn.now_ms)
    turn.emit(session.PersonChanged(turn.now_ms, given.person, state.person))
    turn.speak(lines.NOTICE, turn.words("signed_in", person=given.person))


def _is_hand_over(turn: Turn, branch: str) -> bool:
    return bool(branch) and turn.plan.mishaps[branch].word == w.HAND_OVER


def lost(turn: Turn, given: inputs.Lost) -> None:
    """A device is gone: said once."""
    if given.device in turn.state.lost:
        return
    turn.emit(troubles.DeviceLost(turn.now_ms, given.device, given.detail))
    if turn.state.mode not in FINAL_MODES:
        key, _ = _SAYS.get(given.device, _SAYS_OF_OTHERS)
        turn.speak(lines.WARNING, turn.words(key, device=given.device))


def back(turn: Turn, given: inputs.Back) -> None:
    """It is back: said, with where the work stands."""
    if given.device not in turn.state.lost:
        return
    turn.emit(troubles.DeviceBack(turn.now_ms, given.device))
    if turn.state.mode not in FINAL_MODES:
        _, key = _SAYS.get(given.device, _SAYS_OF_OTHERS)
        turn.speak(lines.NOTICE, turn.words(key, device=given.device))
        return_line(turn)


def clock_step(turn: Turn, given: inputs.ClockStep) -> None:
    """The wall clock moved. Waits are counted on the other clock: only to be known."""
    turn.emit(troubles.ClockStepped(turn.now_ms, given.step_ms))


def gap(turn: Turn, given: inputs.Gap) -> None:
    """Sound was lost: only to be known."""
    turn.emit(troubles.SoundGap(turn.now_ms, given.gap_ms, given.detail))
