"""The live loop of practice at level recall: what comes next is held back until the trainee has said what it is.

Session time stands still while a question is open (the practice clock is held), so that no wait and no wet surface runs
on because somebody thinks. What was decided is in the record already; only showing and speaking it waits.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from assistant.practice.trainee.practice_clock import PracticeClock
from assistant.practice.trainee.spoken_recall import EXPECTS, LISTENED_FOR, SpokenRecall
from assistant.session import inputs
from assistant.session.facts.base import Fact
from assistant.session.facts.steps import StepStarted
from assistant.speaking.player import Sounding
from assistant.station.live.loop import LiveLoop
from assistant.station.loop.keeper import SessionKeeper
from assistant.station.loop.mouth import Mouth

Deliver = Callable[[tuple[Fact, ...], int], None]


class AskingLoop(LiveLoop):
    """A live loop that puts `recall`'s questions. `deliver(facts, now)`: shows facts; the mouth follows."""

    def __init__(
        self, keeper: SessionKeeper, clock: PracticeClock, mouth: Mouth, recall: SpokenRecall, deliver: Deliver, **more: Any,
    ) -> None:
        self._recall, self._deliver, self._practice = recall, deliver, clock
        self._held: list[tuple[Fact, ...]] = []
        self._aside: Sounding | None = None
        super().__init__(keeper, clock, mouth, **more)

    def act(self, facts: tuple[Fact, ...], now_ms: int) -> None:
        """Shows and speaks what one decision calls for, as far as it may be known yet."""
        if self._recall.open:
            self._held.append(facts)
            return
        at = self._recall.begins_at(facts)
        if at is not None:
            begun = facts[at]
            assert isinstance(begun, StepStarted)  # which is what it looks for
            self._recall.begin(begun.step)
            self._held.append(facts[at:])
            facts = facts[:at]
        if facts:
            self._tell(facts, now_ms)

    def _tell(self, facts: tuple[Fact, ...], now_ms: int) -> None:
        self._deliver(facts, now_ms)
        self.mouth.act(facts, now_ms)

    def _next_block(self) -> bytes | None:
        self._ask()
        return super()._next_block()

    def _ask(self) -> None:
        """Says what the question calls for; lets go of what was held back once it is answered."""
        was_open = self._recall.open
        speaking = not self.mouth.silent or (self._aside is not None and not self._aside.done())
        text = self._recall.look(self.mouth.player.sink.now_s(), speaking)
        if text:
            self._aside = self.mouth.aside(text, self.clock.now_ms())
        if was_open and not self._recall.open:
            self._let_go()
        self._practice.held = self._recall.open and self.mouth.silent
        self._listen()

    def _let_go(self) -> None:
        self._practice.held = False
        (asked, *later), self._held = self._held, []
        self._tell(asked, self.clock.now_ms())
        for facts in later:
            self.act(facts, self.clock.now_ms())

    def _give(self, given: inputs.Input) -> None:
        was_open = self._recall.open
        if self._recall.take(given):
            return
        if was_open and not self._recall.open:
            self._let_go()
        super()._give(given)
        self._listen()

    def _listen(self) -> None:
        """While the next step is hidden, no word can be meant for it."""
        if self.listener is not None and self._recall.open:
            self.listener.set_active(LISTENED_FOR, EXPECTS if self._recall.listens else None)
