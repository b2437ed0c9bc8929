"""A new kind of fact can't be forgotten anywhere: found by walking the package, each is folded, written and read."""

from __future__ import annotations

import importlib
import json
import pkgutil
from dataclasses import fields, is_dataclass, replace

import pytest

from assistant.session import facts as package
from assistant.session.evolve import handled
from assistant.session.facts import KINDS
from assistant.session.facts.base import Fact, FactError, checks
from assistant.session.wire import from_wire, to_wire
from tests.session.samples import SAMPLES


def _walked() -> set[type[Fact]]:
    found: set[type[Fact]] = set()
    for module in pkgutil.iter_modules(package.__path__):
        for value in vars(importlib.import_module(f"{package.__name__}.{module.name}")).values():
            if isinstance(value, type) and issubclass(value, Fact) and value is not Fact:
                found.add(value)
    return found


def test_every_class_of_fact_is_known_under_its_own_kind():
    assert _walked() == set(KINDS.values()) and len(KINDS) == len(_walked()) > 40
    for kind, cls in KINDS.items():
        assert kind == cls.KIND and kind.islower() and cls.VERSION >= 1


def test_every_class_of_fact_has_a_handler_and_none_is_handled_that_isnt_one():
    assert handled() == _walked()


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_fact_is_frozen_filled_and_comes_back_from_the_wire_equal(kind: str):
    fact = SAMPLES[kind]
    assert is_dataclass(fact) and fact.__dataclass_params__.frozen and not hasattr(fact, "__dict__")
    for field in fields(fact):
        assert getattr(fact, field.name) != field.default, field.name
        assert getattr(fact, field.name) not in ("", ()), field.name
    wired = json.loads(json.dumps(to_wire(fact)))
    assert set(wired) == {"kind", "v", "data"} and "at_ms" not in wired["data"]
    assert from_wire(wired["kind"], wired["v"], wired["data"], fact.at_ms) == fact


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_odd_data_is_refused_like_an_odd_new_fact(kind: str):
    wired = to_wire(SAMPLES[kind])
    with pytest.raises(ValueError, match="version"):
        from_wire(kind, wired["v"] + 1, wired["data"], 1)
    with pytest.raises(ValueError, match="a field it shouldn't"):
        from_wire(kind, wired["v"], {**wired["data"], "odd": 1}, 1)
    with pytest.raises(ValueError, match="a field it shouldn't"):
        from_wire(kind, wired["v"], {**wired["data"], "at_ms": 1}, 1)
    required = [f.name for f in fields(SAMPLES[kind]) if f.name != "at_ms" and f.default is not None]
    for name in wired["data"]:
        with pytest.raises(ValueError):
            from_wire(kind, wired["v"], {**wired["data"], name: {"odd": 1}}, 1)
    assert required or not wired["data"]


def test_an_unknown_kind_is_refused():
    with pytest.raises(ValueError, match="unknown kind of fact 'wet'"):
        from_wire("wet", 1, {}, 1)


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_no_fact_is_made_with_a_field_that_holds_what_it_cant(kind: str):
    fact = SAMPLES[kind]
    tried = 0
    for check in checks(type(fact)):
        wrong = [None, 1.5, "", -2, "-1", True, ("x", 1), [1], "wett", 10**9]
        refused = [value for value in wrong if not check.holds(value)]
        for value in refused:
            with pytest.raises(FactError, match=f"fact '{kind}': {check.name} should be "):
                replace(fact, **{check.name: value})
            tried += 1
        assert None in refused and [1] in refused, check.name
    assert tried > len(fields(fact))


@pytest.mark.parametrize(
    ("kind", "field", "value", "expected"),
    [
        ("contact_started", "complete_at_ms", -300_000, "a whole number, 0 or more, is -300000"),
        ("contact_started", "surface", "", "a text, not empty, is ''"),
        ("contact_started", "dries_at_ms", True, "a whole number, 0 or more, is True"),
        ("surface_dried", "phase", "soaked", "a text, one of: contact, wetting, is 'soaked'"),
        ("opening_moved", "since_ms", -2, "a whole number, -1 or more, is -2"),
        ("heard", "confidence_pm", 1001, "a whole number, 0 to 1000, is 1001"),
        ("heard", "accepted", 1, "true or false, is 1"),
        ("redo_planned", "steps", ["a", 1], "a list of texts, is ('a', 1)"),
        ("heard", "scores", [["a", "b"]], "a list of pairs of a text and a whole number, is (('a', 'b'),)"),
        ("verdict_reached", "verdict", "won", "a text, one of: complete, incomplete, left, stopped, is 'won'"),
    ],
)
def test_a_record_with_such_a_field_is_refused_naming_the_fact_the_field_and_both(kind, field, value, expected):
    wired = to_wire(SAMPLES[kind])
    with pytest.raises(ValueError) as refused:
        from_wire(kind, wired["v"], {**wired["data"], field: value}, 1)
    assert str(refused.value) == f"fact '{kind}': {field} should be {expected}"
    with pytest.raises(ValueError, match="at_ms should be a whole number, 0 or more, is -1"):
        from_wire(kind, wired["v"], wired["data"], -1)


def test_a_record_that_leaves_a_field_out_is_told_which():
    with pytest.raises(ValueError, match="fact 'rewet_stroke' lacks the field 'stroke_ms'"):
        from_wire("rewet_stroke", 1, {"surface": "back"}, 1)
