"""On disk before aloud, and nothing acted on that isn't on disk."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "session"))
sys.path.insert(0, str(Path(__file__).resolve().parent))
from fakes import ListWriter
from small_plan import small_plan

from assistant.errors import StorageError
from assistant.session import inputs
from assistant.station.loop.keeper import SessionKeeper


def test_facts_are_written_before_anything_is_said() -> None:
    writer, order = ListWriter(), []
    plain_append = writer.append
    writer.append = lambda facts, t, w: (order.append("written"), plain_append(facts, t, w))[1]
    keeper = SessionKeeper(small_plan(), writer, lambda ms: "w")
    keeper.on_facts(lambda facts, now: order.append("said"))
    keeper.give(inputs.Begin("Ada"), 0)
    keeper.give(inputs.Word("confirm"), 5_000)
    assert order == ["written", "said", "written", "said"]


def test_all_facts_of_one_decision_go_in_one_write() -> None:
    writer = ListWriter()
    keeper = SessionKeeper(small_plan(), writer, lambda ms: "w")
    facts = keeper.give(inputs.Begin("Ada"), 0)
    assert len(writer.batches) == 1 and len(writer.batches[0]) == len(facts) > 1


def test_a_disk_that_fails_leaves_the_state_where_it_was_and_nothing_said() -> None:
    writer = ListWriter(fail_at=1)
    keeper = SessionKeeper(small_plan(), writer, lambda ms: "w")
    keeper.give(inputs.Begin("Ada"), 0)
    before, said = keeper.state, []
    keeper.on_facts(lambda facts, now: said.append(facts))
    with pytest.raises(StorageError):
        keeper.give(inputs.Word("confirm"), 5_000)
    assert keeper.state is before and said == []


def test_an_input_dated_before_the_state_counts_as_now() -> None:
    keeper = SessionKeeper(small_plan(), ListWriter(), lambda ms: "w")
    keeper.give(inputs.Begin("Ada"), 10_000)
    facts = keeper.give(inputs.Word("repeat"), 3_000)
    assert {fact.at_ms for fact in facts} == {10_000}
