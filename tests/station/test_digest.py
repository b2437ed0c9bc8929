"""The digest of a state: it tells states apart, and outlives fields that a later core adds."""

from __future__ import annotations

from dataclasses import field, fields, make_dataclass, replace

from assistant.account.digest import ADDED, state_sha256
from assistant.session.state import State

STATE = replace(State(), mode="step", current="ceiling", surfaces={"ceiling": "wet"})
NOTHING_YET = {bool: True, int: 7, str: "x", tuple: ("x",), dict: {"x": "y"}, frozenset: frozenset("x")}


def test_a_field_that_a_later_core_adds_leaves_the_digest_of_an_old_session_alone():
    later = make_dataclass(
        "Later", [("added_later", bool, False), ("notes", dict, field(default_factory=dict))], bases=(State,), frozen=True
    )
    held = {f.name: getattr(STATE, f.name) for f in fields(STATE)}
    assert state_sha256(later(**held)) == state_sha256(STATE)
    assert state_sha256(later(**held, added_later=True)) != state_sha256(STATE)


def test_every_field_of_the_state_shows_in_the_digest():
    seen = {state_sha256(STATE)}
    for f in fields(STATE):
        other = NOTHING_YET.get(type(getattr(STATE, f.name)))
        if other is None or other == getattr(STATE, f.name):
            continue
        seen.add(state_sha256(replace(STATE, **{f.name: other})))
    assert len(seen) > len(fields(STATE)) * 3 // 4
    assert state_sha256(replace(STATE)) in seen


def test_zero_false_and_nothing_are_told_apart_where_the_default_is_another():
    assert len({state_sha256(replace(STATE, now_ms=value)) for value in (0, 1, 2)}) == 3
    assert state_sha256(replace(STATE, stroke_ms=0)) != state_sha256(replace(STATE, stroke_ms=-1))


def test_a_field_that_old_facts_fill_too_is_left_out_for_a_record_older_than_it():
    filled = replace(STATE, last_wetted="ceiling", dryings={"ceiling": 1})
    assert state_sha256(filled, 1) == state_sha256(STATE, 1)
    assert state_sha256(filled, 2) != state_sha256(STATE, 2)
    assert set(ADDED) <= {f.name for f in fields(STATE)}
