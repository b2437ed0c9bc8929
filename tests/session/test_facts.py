"""A new kind of fact can't be forgotten anywhere: found by walking the package, each is folded, written and read."""

from __future__ import annotations

import importlib
import json
import pkgutil
from dataclasses import fields, is_dataclass

import pytest

from assistant.session import facts as package
from assistant.session.evolve import handled
from assistant.session.facts import KINDS
from assistant.session.facts.base import Fact
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
