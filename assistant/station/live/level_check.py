"""Before the start: a few words said as dressed for the work; whether hearing will hold, in one plain verdict."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from assistant.errors import RefusedError
from assistant.hearing.listener import Listener
from assistant.hearing.people.readiness import DONT, Readiness, check_level, judge_readiness
from assistant.language import vocabulary as w
from assistant.speaking.player import Player
from assistant.station.live.battery import Batteries
from assistant.station.live.loop import Source

ASKED = (w.CONFIRM, w.NO, w.STOP)
ALARMS = ("one-ear", "headset", "no")  # as stated beforehand
HEARD, NOT_HEARD = "yes", "no"  # as answered
ALARMS_QUESTION = "Can the room's alarms be heard with the headset on (one ear open, or through the headset)?"
_ANSWER_S = 4.0
_AFTER_LINE_S = 0.3
_BYTES_PER_S = 32_000
_MOST_EMPTY = 400  # reads that bring nothing before the microphone counts as dead


@dataclass(frozen=True, slots=True)
class Around:
    """What else decides whether a session should begin. `alarms`: how the room's alarms are heard,
    one of ALARMS or HEARD, "" where nobody could be asked.
    `needed_s`: what the batteries have to last for."""

    alarms: str = ""
    batteries: Batteries = field(default_factory=Batteries)
    needed_s: float | None = None

    def told(self) -> dict[str, Any]:
        """For `judge_readiness`."""
        return {
            "alarms_heard": self.alarms != NOT_HEARD if self.alarms else None, "battery_s": self.batteries.left_s,
            "needed_s": self.needed_s, "low": self.batteries.low,
        }


def check_hearing(
    listener: Listener, source: Source, player: Player, *, other_way_in: bool, say: Callable[[str], None],
    load_s: float = 0.0, around: Around = Around(), usual_rms: float = 0.0,
) -> dict[str, Any]:
    """Ask for each of a few words, listen, judge; returns what the record's first line keeps of it.

    `listener`: one of its own, for its clock is the sound it is fed. `other_way_in`: keys are at hand. `say` gets
    what is to be shown. `usual_rms`: this person's speech level by their profile, 0 without one.
    Raises RefusedError where hearing won't hold and there is no other way in.
    """
    heard, pcm = 0, b""
    for word in ASKED:
        form = listener.pack.say[word][0]
        say(f'Level check: say "{form}" after it is spoken.')
        sounding = player.say(f"Say: {form}.")
        _drain(source, player, sounding.end_s + _AFTER_LINE_S)
        listener.set_active(frozenset(ASKED))
        got, sound = _answer(listener, source)
        pcm += sound
        heard += got == word
    level = check_level(pcm)
    verdict = judge_readiness(
        level, heard, len(ASKED), load_s=load_s, other_way_in=other_way_in, usual_rms=usual_rms, **around.told(),
    )
    _settle(verdict, say, around)
    return {
        "verdict": verdict.verdict, "heard": heard, "asked": len(ASKED), "speech_rms": level.speech_rms,
        "noise_rms": level.noise_rms, "snr_db": level.snr_db, "clipped_share": level.clipped_share, "dead": level.dead,
        "alarms": around.alarms or "not asked",
    }


def check_without_microphone(around: Around, say: Callable[[str], None]) -> dict[str, Any]:
    """As `check_hearing` where keys are the only way in. Raises RefusedError where the room's alarms can't be heard."""
    verdict = judge_readiness(None, 0, 0, other_way_in=True, **around.told())
    _settle(verdict, say, around)
    return {"verdict": verdict.verdict, "alarms": around.alarms or "not asked"}


def _settle(verdict: Readiness, say: Callable[[str], None], around: Around) -> None:
    _tell(verdict, say)
    if verdict.verdict != DONT:
        return
    if around.alarms == NOT_HEARD:
        raise RefusedError(
            "The room's alarms can't be heard with this headset.", expected="one ear open, or alarms through the headset",
            try_next="leave one ear open, then answer --alarms one-ear; or have the site bring its alarms over the headset",
        )
    raise RefusedError(
        "Hearing won't hold for a session: " + " ".join(verdict.reasons), expected=f"{len(ASKED)} words understood",
        try_next="move the microphone closer; or add --keys; or --keys --no-voice-in to work without a microphone",
    )


def _tell(verdict: Readiness, say: Callable[[str], None]) -> None:
    say(f"Level check: {verdict.verdict}.")
    for reason in verdict.reasons:
        say(f"  {reason}")


def _drain(source: Source, player: Player, until_s: float) -> None:
    """Let the assistant's own line pass; what is heard meanwhile is nobody's answer."""
    for _ in range(_MOST_EMPTY * 10):
        if player.sink.now_s() >= until_s:
            return
        source.read(0.05)


def _answer(listener: Listener, source: Source) -> tuple[str | None, bytes]:
    """The first utterance within some seconds of sound: its word where it was accepted, and the sound."""
    pcm, empty = b"", 0
    while len(pcm) < _ANSWER_S * _BYTES_PER_S and empty < _MOST_EMPTY:
        block = source.read(0.05)
        if not block:
            empty += 1
            continue
        pcm += block
        found = listener.feed(block)
        if found:
            return (found[0].word if found[0].accepted else None), pcm
    return None, pcm
