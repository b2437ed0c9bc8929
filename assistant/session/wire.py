"""A fact as the record holds it: a versioned word and plain JSON values."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

from assistant.session.facts import KINDS
from assistant.session.facts.base import Fact

_FIELDS = {cls: tuple(f.name for f in fields(cls)) for cls in KINDS.values()}


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
    """The fact, checked like a new one: unknown kind, newer version, missing or odd field raise ValueError."""
    cls = KINDS.get(kind)
    if cls is None:
        raise ValueError(f"unknown kind of fact {kind!r}")
    if version != cls.VERSION:
        raise ValueError(f"fact {kind!r} has version {version}; this program knows {cls.VERSION}")
    names = _FIELDS[cls]
    unknown = [name for name in data if name not in names or name == "at_ms"]
    if unknown:
        raise ValueError(f"fact {kind!r} has a field it shouldn't: {unknown[0]!r}")
    try:
        fact = cls(at_ms=at_ms, **{name: _frozen(value) for name, value in data.items()})
    except TypeError as error:
        raise ValueError(f"fact {kind!r} lacks a field: {error}") from None
    problem = _type_problem(fact)
    if problem:
        raise ValueError(f"fact {kind!r}: {problem}")
    return fact


def _frozen(value: Any) -> Any:
    if isinstance(value, list):
        return tuple(_frozen(item) for item in value)
    return value


_BASES = {"int": int, "str": str, "bool": bool}


def _type_problem(fact: Fact) -> str:
    for field in fields(fact):
        value = getattr(fact, field.name)
        wanted = _BASES.get(str(field.type))
        if wanted is None:
            if str(field.type).startswith("tuple") and not isinstance(value, tuple):
                return f"{field.name} should be a list"
        elif not isinstance(value, wanted) or (wanted is int and isinstance(value, bool)):
            return f"{field.name} should be {field.type}, is {type(value).__name__}"
    return ""
