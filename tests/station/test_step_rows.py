"""The table of steps in a report: what was asked for, in the words in which it was asked. What stands beside each row
is held against the lines that the session spoke."""

from __future__ import annotations

import pytest

from assistant.account.steps import step_rows
from assistant.session.facts import lines, steps
from tests.session.touched_at_the_window import touched_at_the_window
from tests.session.walk import Walk

FROM_THE_WINDOW = "Take both hands out of the window. Change your outer gloves. Put both hands into the gauntlets."


@pytest.fixture(scope="module")
def walk() -> Walk:
    return touched_at_the_window()


def test_a_move_that_the_core_put_in_is_told_for_the_way_it_took(walk: Walk):
    told = [row.text for row in step_rows(walk.facts, walk.plan)]
    assert FROM_THE_WINDOW in told
    assert not [text for text in told if text.startswith("Hands ")]


def test_every_row_is_in_the_words_that_were_spoken(walk: Walk):
    rows = step_rows(walk.facts, walk.plan)
    begun = list(walk.of(steps.StepStarted))
    assert len(rows) == len(begun)
    spoken = " ".join(f.text for f in walk.of(lines.LineSpoken))
    waits = {f.step for f in begun if f.step.startswith("bridge:wait:")}
    assert [r.text for r, f in zip(rows, begun, strict=True) if f.step not in waits and r.text not in spoken] == []
