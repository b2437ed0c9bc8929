"""From facts to sound: what is to be said goes to the player, and comes back as `LineDone` when it has sounded."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from assistant.session import inputs
from assistant.session import words as w
from assistant.session.facts import contacts, lines, machine, troubles
from assistant.session.facts.base import Fact
from assistant.speaking.player import Player, Sounding

_THINK_S = 0.06  # from the decision to the first sample: a device needs some room

# Facts that sound a chime before anything is said about them.
CHIMES: dict[type[Fact], str] = {
    contacts.ContactCompleted: "contact_complete",
    machine.CycleCompleted: "contact_complete",
    contacts.RewetAsked: "re_wet",
    troubles.Deviation: "warning",
    machine.LimitWarned: "warning",
    lines.NotNow: "refused",
}
Mute = Callable[[float, float, str], None]


@dataclass(slots=True)
class _Line:
    number: int
    sounding: Sounding


class Mouth:
    """Speaks the lines of decided facts in order. `mute` tells the listener when the assistant sounds, `unmute`
    when it was cut short. All times are on the player's clock, which is the session's clock in seconds."""

    def __init__(self, player: Player, mute: Mute, unmute: Callable[[float], None]) -> None:
        self.player = player
        self._mute = mute
        self._unmute = unmute
        self._lines: list[_Line] = []

    def act(self, facts: tuple[Fact, ...], now_ms: int) -> None:
        """Say what one decision calls for."""
        if any(self._cuts(fact) for fact in facts):
            self._unmute(now_ms / 1000)
            self.player.stop(now_ms / 1000)
        for fact in facts:
            chime = CHIMES.get(type(fact)) or self._refused(fact)
            start_s = now_ms / 1000 + _THINK_S
            if chime:
                sounding = self.player.chime(chime, start_s)
                self._mute(sounding.start_s, sounding.end_s, "")
            if isinstance(fact, lines.MannerChanged):
                {"slower": self.player.slower, "louder": self.player.louder}.get(fact.manner, lambda: None)()
            if isinstance(fact, lines.LineSpoken):
                sounding = self.player.say(fact.text, start_s)
                self._mute(sounding.start_s, sounding.end_s, fact.text)
                self._lines.append(_Line(fact.line, sounding))

    @staticmethod
    def _cuts(fact: Fact) -> bool:
        """Stop and repeat, once accepted, silence what is being said."""
        return isinstance(fact, lines.Heard) and fact.accepted and fact.word in (w.STOP, w.REPEAT)

    @staticmethod
    def _refused(fact: Fact) -> str:
        said = isinstance(fact, lines.Heard) and not fact.accepted and fact.word == "" and fact.source == "voice"
        return "refused" if said else ""

    def next_end_ms(self) -> int | None:
        """When the line that ends first will have ended, or None while silent."""
        return min((math.ceil(line.sounding.end_s * 1000) for line in self._lines), default=None)

    def ended(self, now_ms: int) -> list[inputs.LineDone]:
        """The lines that have ended by `now_ms`, each reported once."""
        done = [line for line in self._lines if math.ceil(line.sounding.end_s * 1000) <= now_ms]
        self._lines = [line for line in self._lines if line not in done]
        return [
            inputs.LineDone(
                line.number, round(line.sounding.start_s * 1000), math.ceil(line.sounding.end_s * 1000),
                line.sounding.interrupted,
            )
            for line in done
        ]

    @property
    def silent(self) -> bool:
        """True when nothing is being said or waits to be."""
        return not self._lines
