"""Half-duplex: while the assistant speaks, and until the sound has died away, nothing heard counts - except stop."""

from __future__ import annotations

import re
from collections import deque
from dataclasses import dataclass

from assistant.language import vocabulary as words


@dataclass(frozen=True)
class Speaking:
    start_s: float
    end_s: float
    text: str


class MuteGate:
    """Spans of audio time in which the assistant speaks.

    `latency_s`: how late the device plays; `tail_s`: how long the room and headset ring on. Both lengthen each span.
    """

    def __init__(self, latency_s: float = 0.1, tail_s: float = 0.2, closed_headset: bool = False) -> None:
        self.latency_s, self.tail_s, self.closed_headset = latency_s, tail_s, closed_headset
        self._spans: deque[Speaking] = deque(maxlen=256)

    def add(self, start_s: float, end_s: float, text: str) -> None:
        self._spans.append(Speaking(start_s, end_s, text))

    def cut(self, at_s: float) -> None:
        """The assistant was interrupted at `at_s`: later sound isn't its own."""
        self._spans = deque((Speaking(s.start_s, min(s.end_s, max(at_s, s.start_s)), s.text) for s in self._spans),
                            maxlen=256)

    def overlapping(self, start_s: float, end_s: float) -> list[Speaking]:
        """What the assistant was saying at any moment from start_s to end_s."""
        after = self.latency_s + self.tail_s
        return [s for s in self._spans if s.start_s < end_s and start_s < s.end_s + after]

    def speaking(self, at_s: float) -> bool:
        """Whether the assistant sounds at that moment, ringing included."""
        after = self.latency_s + self.tail_s
        return any(s.start_s <= at_s < s.end_s + after for s in self._spans)

    def may_interrupt(self, word: str | None, form: str, spoken: list[Speaking]) -> bool:
        """Whether a word counts although the assistant is speaking.

        Stop always does; repeat does behind a closed headset. A word that is part of what is being said never does: it
        may be the assistant's own voice. The assistant's lines are worded so that "stop" is rarely among them.
        """
        if word == words.STOP or (word == words.REPEAT and self.closed_headset):
            return not any(_contains(s.text, form) for s in spoken)
        return False


def _contains(text: str, form: str) -> bool:
    """Whether any word of the form is in the text, whatever its ending ("stopped" holds "stop")."""
    said = re.findall(r"\w+", text.lower())
    return any(t.startswith(part) for part in form.lower().split() for t in said)
