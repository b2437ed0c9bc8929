"""Digests by which two runs are compared: of all facts, and of a state."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import MISSING, Field, fields, is_dataclass
from typing import Any

from assistant.record.canonical import to_canonical
from assistant.session.facts.base import Fact
from assistant.session.state import State
from assistant.session.wire import to_wire


def facts_sha256(facts: Iterable[Fact]) -> str:
    """SHA-256 over the canonical wire form of each fact with its time, one per line."""
    total = hashlib.sha256()
    for fact in facts:
        total.update(to_canonical({**to_wire(fact), "t_ms": fact.at_ms}) + b"\n")
    return total.hexdigest()


def state_sha256(state: State) -> str:
    """SHA-256 over the canonical form of a state, fields that stand at their default left out.

    Left out, since a later version of the core may have fields more: as long as an old record's facts leave those
    alone, it still folds to the state that was sealed."""
    return hashlib.sha256(to_canonical(_plain(state))).hexdigest()


def _plain(value: Any) -> Any:
    if is_dataclass(value):
        return {f.name: _plain(getattr(value, f.name)) for f in fields(value) if not _at_default(f, value)}
    if isinstance(value, dict):
        return [[_plain(k), _plain(v)] for k, v in sorted(value.items(), key=lambda item: str(item[0]))]
    if isinstance(value, frozenset | set):
        return sorted((_plain(v) for v in value), key=str)
    if isinstance(value, tuple | list):
        return [_plain(v) for v in value]
    return value


def _at_default(field: Field, holder: Any) -> bool:
    value = getattr(holder, field.name)
    if field.default_factory is not MISSING:
        return value == field.default_factory()
    return field.default is not MISSING and type(value) is type(field.default) and value == field.default
