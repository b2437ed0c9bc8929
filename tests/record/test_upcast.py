"""Older words are lifted step by step; lines stay as they are, and a step that leads nowhere is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from assistant.errors import RecordError
from assistant.record.lines.upcast import upcast
from assistant.record.reader import read_record
from tests.record.support import heard, sealed_record

STEPS = {
    ("heard", 1): lambda f: {
        "kind": "heard",
        "v": 2,
        "data": {**f["data"], "confidence_pm": round(f["data"].pop("confidence") * 1000)},
    },
    ("heard", 2): lambda f: {"kind": "utterance_heard", "v": 1, "data": f["data"]},
}


def test_a_fact_is_lifted_through_every_step_and_the_old_one_is_untouched():
    old = heard("confirm", 0.5)
    assert upcast(old, STEPS)["kind"] == "utterance_heard"
    assert upcast(old, STEPS)["data"]["confidence_pm"] == 500
    assert old == heard("confirm", 0.5)
    assert upcast({"kind": "spoken", "v": 1, "data": {}}, STEPS) == {"kind": "spoken", "v": 1, "data": {}}


def test_a_record_hands_on_lifted_facts_and_keeps_its_lines(tmp_path: Path):
    record = read_record(sealed_record(tmp_path, 2))
    lifted = {fact["kind"] for _, fact in record.facts(STEPS)}
    assert lifted == {"utterance_heard", "spoken"}
    assert [line.kind for line, _ in record.facts(STEPS)] == ["heard", "spoken"]


def test_a_step_that_does_not_rise_or_never_ends_is_refused():
    with pytest.raises(RecordError):
        upcast(heard("x"), {("heard", 1): lambda f: f})
    ring = {("a", 1): lambda f: {**f, "kind": "b"}, ("b", 1): lambda f: {**f, "kind": "a"}}
    with pytest.raises(RecordError):
        upcast({"kind": "a", "v": 1, "data": {}}, ring)
