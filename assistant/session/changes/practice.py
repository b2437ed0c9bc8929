"""What only practice asks: nothing of the work changes by it."""

from __future__ import annotations

from assistant.session.changes.base import on
from assistant.session.facts import practice
from assistant.session.state import State


@on(practice.NextRecalled)
def recalled(state: State, fact: practice.NextRecalled) -> State:
    if state.kind != practice.PRACTICE:
        raise ValueError(f"{fact.KIND!r} belongs to practice, and this session is {state.kind or 'not begun'}")
    return state
