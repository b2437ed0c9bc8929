"""A question's numbered choices, said a few at a time: newest first, zero for more, and after the last the first again."""

from __future__ import annotations

from assistant.session.state import State

GROUP = 5  # choices said in one line: about ten seconds; judgement
MORE = "0"


def said_now(state: State) -> range:
    """The places in `state.which` of the choices that the line at hand names."""
    groups = -(-len(state.which) // GROUP) or 1
    first = state.which_from // GROUP % groups * GROUP
    return range(first, min(first + GROUP, len(state.which)))


def offered(state: State) -> int:
    """How many choices, from the first, were named so far: a number beyond them was never offered, so it was misheard."""
    return min(state.which_from + GROUP, len(state.which))


def has_more(state: State) -> bool:
    """Whether not all choices fit into one line."""
    return len(state.which) > GROUP
