"""A fact as the record holds it: a versioned word and plain JSON values."""

from __future__ import annotations

from dataclasses import MISSING, fields
from typing import Any

from assistant.session.facts import KINDS
from assistant.session.facts.base import Fact

_FIELDS = {cls: tuple(f.name for f in fields(cls)) for cls in KINDS.values()}
_REQUIRED = {cls: tuple(f.name for f in fields(cls) if f.default is MISSING and f.name != "at_ms") for cls in _FIELDS}


def to_wire(fact: Fact) -> dict[str, Any]:
    """{"kind", "v", "data"}: data holds every field but `at_ms`, tuples as lists."""
    cls = type(fact)
    data = {}
    for name in _FIELDS[cls]:
        if name != "at_ms":
            data[name] = _plain(getattr(fact, name))
    return {"kind": cls.KIND, "v": cls.VERSION, "data": data}


def _plain(value: Any) -> Any:
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    return value


def from_wire(kind: str, version: int, data: dict[str, Any], at_ms: int) -> Fact:
    """The fact, checked like a new one: unknown kind, newer version, missing or odd field, and a field that holds what
    it can't raise ValueError with the fact, the field, what was found and what was expected."""
    cls = KINDS.get(kind)
    if cls is None:
        raise ValueError(f"unknown kind of fact {kind!r}")
    if version != cls.VERSION:
        raise ValueError(f"fact {kind!r} has version {version}; this program knows {cls.VERSION}")
    names = _FIELDS[cls]
    for name in data:
        if name not in names or name == "at_ms":
            raise ValueError(f"fact {kind!r} has a field it shouldn't: {name!r}; it may have: {', '.join(names[1:])}")
    for name in _REQUIRED[cls]:
        if name not in data:
            raise ValueError(f"fact {kind!r} lacks the field {name!r}")
    return cls(at_ms=at_ms, **{name: _frozen(value) for name, value in data.items()})


def _frozen(value: Any) -> Any:
    if isinstance(value, list):
        return tuple(_frozen(item) for item in value)
    return value
