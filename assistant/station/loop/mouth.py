"""From facts to sound: what is to be said goes to the player, and comes back as `LineDone` when it has sounded."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from assistant.session import inputs
from assistant.session.facts.base import Fact
from assistant.session.requests import Chime, Hush, Manner, Say, requests
from assistant.speaking.player import Player, Sounding

_THINK_S = 0.06  # from the decision to the first sample: a device needs some room

Mute = Callable[[float, float, str], None]


@dataclass(slots=True)
class _Line:
    number: int
    sounding: Sounding


class Mouth:
    """Speaks the lines of decided facts in order. `mute` tells the listener when the assistant sounds, `unmute`
    when it was cut short, both in seconds of session time. `sink_zero_s`: session time at zero of the sink's clock."""

    def __init__(
        self, player: Player, mute: Mute, unmute: Callable[[float], None], sink_zero_s: float = 0.0,
    ) -> None:
        self.player = player
        self._mute = mute
        self._unmute = unmute
        self._zero_s = sink_zero_s
        self._lines: list[_Line] = []

    def act(self, facts: tuple[Fact, ...], now_ms: int) -> None:
        """Say what one decision calls for."""
        start_s = now_ms / 1000 + _THINK_S - self._zero_s
        for asked in requests(facts):
            if isinstance(asked, Hush):
                self._unmute(now_ms / 1000)
                self.player.stop(now_ms / 1000 - self._zero_s)
            elif isinstance(asked, Chime):
                self._quiet(self.player.chime(asked.kind, start_s), "")
            elif isinstance(asked, Manner):
                {"slower": self.player.slower, "louder": self.player.louder}[asked.manner]()
            elif isinstance(asked, Say):
                sounding = self.player.say(asked.text, start_s)
                self._quiet(sounding, asked.text)
                self._lines.append(_Line(asked.line, sounding))

    def aside(self, text: str, now_ms: int) -> Sounding:
        """Speak something that is no line of the session (a question of practice): nothing of it comes back as an input."""
        sounding = self.player.say(text, now_ms / 1000 + _THINK_S - self._zero_s)
        self._quiet(sounding, text)
        return sounding

    def _quiet(self, sounding: Sounding, text: str) -> None:
        self._mute(sounding.start_s + self._zero_s, sounding.end_s + self._zero_s, text)

    def _end_ms(self, line: _Line) -> int:
        return math.ceil((line.sounding.end_s + self._zero_s) * 1000)

    def next_end_ms(self) -> int | None:
        """When the line that ends first will have ended, or None while silent."""
        return min((self._end_ms(line) for line in self._lines), default=None)

    def ended(self, now_ms: int) -> list[inputs.LineDone]:
        """The lines that have ended by `now_ms`, each reported once."""
        done = [line for line in self._lines if self._end_ms(line) <= now_ms]
        self._lines = [line for line in self._lines if line not in done]
        return [
            inputs.LineDone(
                line.number, max(0, round((line.sounding.start_s + self._zero_s) * 1000)), self._end_ms(line),
                line.sounding.interrupted,
            )
            for line in done
        ]

    def shift(self, by_s: float) -> None:
        """Session time has gone on by `by_s` that the sink's clock hasn't (a wait passed quicker, in practice).
        Only while silent: a line that sounds keeps its times."""
        self._zero_s += by_s

    @property
    def silent(self) -> bool:
        """True when nothing is being said or waits to be."""
        return not self._lines
