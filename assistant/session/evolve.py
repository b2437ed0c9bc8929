"""`evolve(state, fact) -> state`: what a fact changes, and nothing else. Decides nothing, checks nothing twice."""

from __future__ import annotations

from collections.abc import Iterable

from assistant.session.changes import contacts, lines, machine, practice, session, steps, troubles
from assistant.session.changes.base import HANDLERS
from assistant.session.facts.base import Fact
from assistant.session.state import State, changed

FAMILIES = (session, lines, steps, contacts, machine, troubles, practice)  # imported so that their handlers are registered


def evolve(state: State, fact: Fact) -> State:
    """The state after `fact`. Raises ModeRefused where the fact can't follow, KeyError for an unknown class."""
    before = state
    state = HANDLERS[type(fact)](state, fact)
    now_ms = max(fact.at_ms, state.now_ms)
    if state is not before and at_hand(state) != at_hand(before):
        return changed(state, now_ms=now_ms, entered_ms=now_ms)
    return state if now_ms == state.now_ms else changed(state, now_ms=now_ms)


def at_hand(state: State) -> tuple[object, ...]:
    """What an answer would be an answer to. While it is the same, the same question is open."""
    return (
        state.mode, state.current, state.rewets[:1], state.questions[:1], state.questioned, state.value,
        state.spelling, state.spelt,
        state.which, state.which_from, state.mishap, state.patch_since_ms,
    )


def fold(state: State, facts: Iterable[Fact]) -> State:
    """All facts in order: live, replay, verification and pages use this one."""
    for fact in facts:
        state = evolve(state, fact)
    return state


def handled() -> frozenset[type[Fact]]:
    """The classes of fact that have a handler."""
    return frozenset(HANDLERS)
