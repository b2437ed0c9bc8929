"""The loop on media time: a session whose clock is the position in the sound. For the demo and for practice.

Every block is made, heard, decided and written before the next, so that the same sound gives the same facts.
Media time never ends a live wait: live work has a loop of its own.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Protocol

import numpy as np

from assistant.hearing.listener import Listener
from assistant.session import inputs
from assistant.session.facts.base import Fact
from assistant.session.facts.lines import LineSpoken
from assistant.session.words.allowed import expects, listened_for
from assistant.station.loop.ear import KeepClip, heard_input
from assistant.station.loop.keeper import SessionKeeper
from assistant.station.loop.mouth import Mouth

RATE_HZ = 16_000
BLOCK_MS = 50
_BLOCK = RATE_HZ * BLOCK_MS // 1000


class Room(Protocol):
    """The room around the microphone: somebody who listens, acts and speaks, and a fan."""

    def heard(self, text: str, ended_ms: int, role: str) -> None:
        """The assistant has finished saying `text`."""

    def sounding(self, now_ms: int) -> None:
        """The assistant can be heard at this moment."""

    def block(self, start_ms: int, samples: int) -> np.ndarray:
        """int16 mono, shape (samples,): what the microphone picks up from `start_ms` on, the assistant aside."""


class MediaLoop:
    """Runs one session to its verdict. `echo`: what of the assistant's own sound leaks into the microphone, as a
    function (start_ms, samples) -> int16 samples, or None. `keys(now_ms)`: what somebody at the keys has typed by
    then, each once. `advance(ms)`: moves the sinks' clock and writes the sound;
    `keep_mic(samples, start_ms)`: the technician's side for the mixed sound."""

    def __init__(
        self, keeper: SessionKeeper, listener: Listener, mouth: Mouth, room: Room, advance: Callable[[int], None],
        *, keep_mic: Callable[[np.ndarray, int], object] | None = None,
        echo: Callable[[int, int], np.ndarray] | None = None, keep_clip: KeepClip | None = None,
        keys: Callable[[int], Iterable[inputs.Input]] | None = None,
        longest_ms: int = 3 * 3600 * 1000, offset_ms: int = 0,
    ) -> None:
        self.keeper = keeper
        self.listener = listener
        self.mouth = mouth
        self.room = room
        self.longest_ms = longest_ms
        self._advance = advance
        self._keep_mic = keep_mic
        self._echo = echo
        self._keep_clip = keep_clip
        self._keys = keys
        self._offset_ms = offset_ms  # where the session's clock stood when the sound began
        self._texts: dict[int, tuple[str, str]] = {}
        keeper.on_facts(self._note_lines)
        keeper.on_facts(mouth.act)

    def run(self, begin: inputs.Input) -> None:
        """From `begin` (Begin, or Recover after a break) to the verdict and the last spoken word."""
        start = self._offset_ms
        self._give(begin, start)
        while not (self.keeper.over and self.mouth.silent):
            end = start + BLOCK_MS
            if end - self._offset_ms > self.longest_ms:
                break
            pcm = self._block(start)
            self._time_passes(end)
            for utterance in self.listener.feed(pcm):
                self._give(heard_input(utterance, self._offset_ms, self._keep_clip), end)
            for given in self._keys(end) if self._keys else ():
                self._give(given, end)
            self._advance(end)
            start = end

    def _block(self, start: int) -> bytes:
        if not self.mouth.silent:
            self.room.sounding(start)
        mic = self.room.block(start, _BLOCK)
        if self._keep_mic:
            self._keep_mic(mic, start)
        if self._echo:
            mixed = mic.astype(np.int32) + self._echo(start, _BLOCK)
            mic = np.clip(mixed, -32768, 32767).astype(np.int16)
        return mic.tobytes()

    def _time_passes(self, end: int) -> None:
        """Deadlines and ends of lines up to `end`, each at its own millisecond, in order."""
        while True:
            deadline, sounded = self.keeper.next_deadline_ms(), self.mouth.next_end_ms()
            due = [t for t in (deadline, sounded) if t is not None and t <= end]
            if not due:
                return
            now = min(due)
            if deadline is not None and deadline <= now:
                self._give(inputs.Tick(), now)
            for done in self.mouth.ended(now):
                text, role = self._texts.pop(done.line, ("", ""))
                self._give(done, now)
                self.room.heard(text, done.ended_ms, role)

    def _give(self, given: inputs.Input, now_ms: int) -> None:
        self.keeper.give(given, now_ms)
        plan, state = self.keeper.plan, self.keeper.state
        self.listener.set_active(listened_for(plan, state), expects(plan, state))

    def _note_lines(self, facts: tuple[Fact, ...], _now_ms: int) -> None:
        for fact in facts:
            if isinstance(fact, LineSpoken):
                self._texts[fact.line] = (fact.text, fact.role)
