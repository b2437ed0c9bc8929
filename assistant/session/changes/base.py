"""The register of handlers, and the few movements that several facts share."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any, TypeVar

from assistant.session.facts.base import Fact
from assistant.session.modes import moved
from assistant.session.state import Frame, State, changed

F = TypeVar("F", bound=Fact)
K = TypeVar("K")
V = TypeVar("V")
HANDLERS: dict[type[Fact], Callable[[State, Any], State]] = {}  # each takes just the class that it stands under
UNSPELT: dict[str, object] = {"value_fails": 0, "spelling": False, "spelt": "", "to_mend": ""}  # a value not yet asked for
MOST_BACK = 64  # confirmations that can be taken back one after the other; keeps the state bounded


def on(cls: type[F]) -> Callable[[Callable[[State, F], State]], Callable[[State, F], State]]:
    """Register the handler of a class of fact. Raises ValueError where there is one already."""

    def register(handler: Callable[[State, F], State]) -> Callable[[State, F], State]:
        if cls in HANDLERS:
            raise ValueError(f"{cls.__name__} has a handler already")
        HANDLERS[cls] = handler
        return handler

    return register


def push(state: State, trigger: str, **changes: object) -> State:
    """Interrupt: remember the mode underneath, unless the same kind of interruption is already on top."""
    mode = moved(state.mode, trigger)
    under = state.under if mode == state.mode else (*state.under, state.mode)
    return changed(state, mode=mode, under=under, **changes)


def with_key(table: dict[K, V], key: K, value: V) -> dict[K, V]:
    """A copy of `table` with one entry set."""
    return {**table, key: value}


def without(table: dict[K, V], key: K) -> dict[K, V]:
    """A copy of `table` without one entry; `table` itself where it has none."""
    if key not in table:
        return table
    return {k: v for k, v in table.items() if k != key}


def leave_step(state: State, trigger: str) -> State:
    """The step at hand is over or given up: nothing of it stays, no interruption lies over it any more."""
    return changed(
        state, mode=moved(state.mode, trigger), under=(), current="", stroke_ms=-1, claimed_ms=-1, asked="",
        questioned=False, value="", which=(), which_from=0, mishap="", patch_since_ms=-1, marks=frozenset(), **UNSPELT,
    )


def with_top(state: State, frame: Frame) -> tuple[Frame, ...]:
    """The lines of work with the innermost one changed."""
    return (*state.frames[:-1], frame)


def remember(state: State, what: str) -> tuple[str, ...]:
    """`confirmed` with one more entry; the oldest falls off."""
    return (*state.confirmed, what)[-MOST_BACK:]


def unask_rewets(state: State) -> State:
    """No re-wet is being asked for any more; each will be asked for anew when it can be."""
    if not state.rewets:
        return state
    table = {
        s: replace(c, asked_ms=-1, stroke_again_ms=-1) if c.asked_ms >= 0 else c for s, c in state.contacts.items()
    }
    return changed(state, contacts=table, rewets=())
