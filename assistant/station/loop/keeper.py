"""Keeps state and record in step: an input is decided, written and synced, and only then acted on."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Protocol

from assistant.procedure.model.plan import Plan
from assistant.session import decide, evolve, initial, next_deadline_ms
from assistant.session.facts.base import Fact
from assistant.session.inputs import Input
from assistant.session.state import FINAL_MODES, State
from assistant.session.wire import to_wire

Act = Callable[[tuple[Fact, ...], int], None]


class Writer(Protocol):
    """What the keeper needs of a record."""

    def append(self, facts: list[dict[str, Any]], t_ms: int, wall: str) -> Any: ...


class SessionKeeper:
    """One session. `act` is called with the facts of each decision once they are on disk.

    `give` raises what the writer raises (StorageError and kin); then nothing was acted on and the state hasn't
    moved.
    """

    def __init__(self, plan: Plan, writer: Writer, wall: Callable[[int], str], state: State | None = None) -> None:
        self.plan = plan
        self.state = state if state is not None else initial(plan)
        self.facts_written = 0
        self._writer = writer
        self._wall = wall
        self._act: list[Act] = []

    def on_facts(self, act: Act) -> None:
        """Call `act(facts, now_ms)` after each decision that had any, in the order of registration."""
        self._act.append(act)

    def give(self, given: Input, now_ms: int) -> tuple[Fact, ...]:
        """Decide one input at `now_ms` (never before the state's own time)."""
        now_ms = max(now_ms, self.state.now_ms)
        facts = decide(self.plan, self.state, given, now_ms)
        if not facts:
            return facts
        self._writer.append([to_wire(fact) for fact in facts], now_ms, self._wall(now_ms))
        state = self.state
        for fact in facts:
            state = evolve(state, fact)
        self.state = state
        self.facts_written += len(facts)
        for act in self._act:
            act(facts, now_ms)
        return facts

    @property
    def over(self) -> bool:
        """True once a verdict is reached."""
        return self.state.mode in FINAL_MODES

    def next_deadline_ms(self) -> int | None:
        """When time alone will bring the next fact."""
        return next_deadline_ms(self.plan, self.state)
