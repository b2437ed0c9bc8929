"""The live loop: the operating system's monotonic clock counts; sound only says what was heard and when.

One thread decides, writes and speaks. Sound arrives in blocks from the source's own thread; keys from theirs.
Audio position never ends a wait: it only dates words, and where it drifts from the clock that is a fact.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from typing import Protocol

from assistant.errors import SoundDeviceError
from assistant.hearing.engines.recogniser import ENGINE_RESTARTED
from assistant.hearing.listener import Listener
from assistant.session import inputs
from assistant.session.facts.base import Fact
from assistant.session.words.allowed import expects, listened_for
from assistant.station.loop.clock import Clock
from assistant.station.loop.ear import KeepClip, heard_input
from assistant.station.loop.keeper import SessionKeeper
from assistant.station.loop.mouth import Mouth

_LONGEST_WAIT_S = 0.05
_DRIFT_MS = 250  # beyond what buffering explains
_RETRY_MS = 1000
_ASLEEP_MS = 3000


class Source(Protocol):
    """A microphone. `read` returns a block of 16 kHz mono int16 or None when there is none within `timeout_s`."""

    def read(self, timeout_s: float) -> bytes | None: ...

    def lost(self) -> bool:
        """True once nothing comes any more."""

    def dropped(self) -> int:
        """Blocks lost since the last call."""

    def reopen(self) -> bool:
        """Try to open the device again; True when sound comes again."""

    def close(self) -> None: ...


class Keys(Protocol):
    """A foot switch or keyboard."""

    def get(self) -> inputs.Input | None: ...

    def close(self) -> None: ...


class LiveLoop:
    """Runs one session live. `source` None: keys only. `board`: inputs from elsewhere (a witness), never blocking."""

    def __init__(
        self, keeper: SessionKeeper, clock: Clock, mouth: Mouth, *, listener: Listener | None = None,
        source: Source | None = None, keys: Keys | None = None, board: Callable[[], inputs.Input | None] | None = None,
        keep_clip: KeepClip | None = None, on_tick: Callable[[int], None] | None = None,
        keep_mic: Callable[[bytes, int], None] | None = None, headset_lost: Callable[[], bool] | None = None,
    ) -> None:
        self.keeper = keeper
        self.clock = clock
        self.mouth = mouth
        self.listener = listener
        self.source = source
        self._keys = keys
        self._board = board
        self._keep_clip = keep_clip
        self._on_tick = on_tick
        self._keep_mic = keep_mic
        self._headset_lost = headset_lost
        self._headset_gone = False
        self._offsets: deque[int] = deque(maxlen=100)  # session time at audio zero, as each block suggests it
        self.offset_ms = 0
        self._fed_ms = 0.0
        self._lost = False
        self._retry_at = 0
        keeper.on_facts(self.act)

    def act(self, facts: tuple[Fact, ...], now_ms: int) -> None:
        """Speaks what one decision calls for."""
        self.mouth.act(facts, now_ms)

    def run(self, *first: inputs.Input) -> None:
        """From `first` (Begin, or Recover after a break) to the verdict and the last spoken word. Raises what the
        record raises."""
        for given in first:
            self._give(given)
        last = self.clock.now_ms()
        while not (self.keeper.over and self.mouth.silent):
            block = self._next_block()
            now = self.clock.now_ms()
            asleep = self.clock.suspended_ms()
            if asleep == 0 and now - last > _ASLEEP_MS:
                asleep = now - last  # this very process stood still: nobody watched
            last = now
            if asleep:
                self._give(inputs.Recover(asleep, "suspend"))
            step = self.clock.wall_step_ms()
            if step and not asleep:
                self._give(inputs.ClockStep(step))
            self._time_passes()
            self._look_for_headset()
            if block:
                self._hear(block)
            self._other_inputs()
            if self._on_tick:
                self._on_tick(self.clock.now_ms())

    def _next_block(self) -> bytes | None:
        now = self.clock.now_ms()
        soon = [t for t in (self.keeper.next_deadline_ms(), self.mouth.next_end_ms()) if t is not None]
        wait_s = min([_LONGEST_WAIT_S, *(max(0, t - now) / 1000 for t in soon)])
        if self.source is None or self._lost:
            if self.source is not None:
                self._try_again(self.source, now)
            self.clock.sleep(wait_s)
            return None
        block = self.source.read(wait_s)
        if block is None and self.source.lost():
            self._lost = True
            self._retry_at = now + _RETRY_MS
            self._give(inputs.Lost("microphone", "no sound arrives"))
        dropped = self.source.dropped()
        if dropped:
            self._give(inputs.Gap(0, f"{dropped} blocks of sound lost"))
        return block

    def _try_again(self, source: Source, now: int) -> None:
        if now < self._retry_at:
            return
        self._retry_at = now + _RETRY_MS
        try:
            back = source.reopen()
        except SoundDeviceError:
            back = False
        if back:
            self._lost = False
            self._offsets.clear()
            self._give(inputs.Back("microphone"))

    def _look_for_headset(self) -> None:
        gone = self._headset_lost() if self._headset_lost else False
        if gone != self._headset_gone:
            self._headset_gone = gone
            self._give(inputs.Lost("headset", "it can't be reached") if gone else inputs.Back("headset"))

    def _hear(self, block: bytes) -> None:
        now = self.clock.now_ms()
        if self._keep_mic:
            self._keep_mic(block, now)
        self._fed_ms += len(block) / 32
        self._offsets.append(round(now - self._fed_ms))
        # Blocks arrive late, never early: the smallest of the recent offsets is the truest.
        offset = min(self._offsets)
        if self._offsets.maxlen and len(self._offsets) > 20 and abs(offset - self.offset_ms) > _DRIFT_MS:
            self._give(inputs.Gap(offset - self.offset_ms, "sound and clock have drifted apart"))
            self.offset_ms = offset
        elif len(self._offsets) <= 20:
            self.offset_ms = offset
        assert self.listener is not None  # where there is a source
        for utterance in self.listener.feed(block):
            if ENGINE_RESTARTED in utterance.scores:
                # Not "I didn't understand": nobody listened, and whoever speaks must know it and the other way in.
                self._give(inputs.Lost("listening", "the speech engine stopped; what was said meanwhile is lost"))
                self._give(inputs.Back("listening"))
            else:
                self._give(heard_input(utterance, self.offset_ms, self._keep_clip))

    def mute(self, start_s: float, end_s: float, text: str) -> None:
        """Tell the listener, whose clock is the sound's, when the assistant speaks."""
        if self.listener is not None:
            zero = self.offset_ms / 1000
            self.listener.mute(start_s - zero, end_s - zero, text)

    def shift(self, by_ms: int) -> None:
        """Session time has gone on by `by_ms` that the sound hasn't (a wait passed quicker, in practice)."""
        self.offset_ms += by_ms
        self._offsets = deque((offset + by_ms for offset in self._offsets), maxlen=self._offsets.maxlen)

    def unmute(self, at_s: float) -> None:
        if self.listener is not None:
            self.listener.gate.cut(at_s - self.offset_ms / 1000)

    def _time_passes(self) -> None:
        now = self.clock.now_ms()
        deadline = self.keeper.next_deadline_ms()
        if deadline is not None and deadline <= now:
            self._give(inputs.Tick())
        for done in self.mouth.ended(self.clock.now_ms()):
            self._give(done)

    def _other_inputs(self) -> None:
        for ask in (self._keys.get if self._keys else None, self._board):
            while ask is not None and (given := ask()) is not None:
                self._give(given)

    def _give(self, given: inputs.Input) -> None:
        self.keeper.give(given, self.clock.now_ms())
        if self.listener is not None:
            plan, state = self.keeper.plan, self.keeper.state
            self.listener.set_active(listened_for(plan, state), expects(plan, state))
