"""The session page's table of steps: a move of the hands is told for the way it took, in the words that were spoken."""

from __future__ import annotations

import pytest

from assistant.account.steps import step_rows
from assistant.session.facts import lines, steps
from tests.session.touched_at_the_window import touched_at_the_window
from tests.session.walk import Walk


@pytest.fixture(scope="module")
def walk() -> Walk:
    return touched_at_the_window()


def test_a_move_is_told_for_the_way_it_took(walk: Walk) -> None:
    rows = step_rows(walk.facts, walk.plan)
    moves = [row for row in rows if row.step.startswith("bridge:move:")]
    assert "Hands from the open window into the gauntlets" in [row.name for row in moves]
    spoken = " ".join(f.text for f in walk.of(lines.LineSpoken))
    assert moves and [row.text for row in moves if row.text not in spoken] == []
    assert not [row.text for row in moves if row.text.startswith("Hands ")]


def test_what_leaves_the_window_is_not_told_as_leaving_the_gauntlets(walk: Walk) -> None:
    """The core's own fold says where the hands were before each step began."""
    from assistant.session import evolve, initial

    state, before = initial(walk.plan), {}
    for fact in walk.facts:
        if isinstance(fact, steps.StepStarted):
            before[fact.at_ms, fact.step] = state.hands
        state = evolve(state, fact)
    told = [(before[row.at_ms, row.step], row.name) for row in step_rows(walk.facts, walk.plan) if row.kind == "move"]
    assert {hands for hands, _ in told} >= {"window", "gauntlets", "room"}
    for hands, name in told:
        assert ("out of the gauntlets" not in name) or hands == "gauntlets"
        assert ("open window" in name) or hands != "window"


def test_without_its_plan_a_session_still_has_a_table(walk: Walk) -> None:
    assert len(step_rows(walk.facts, None)) == len(step_rows(walk.facts, walk.plan))
