"""Digests by which two runs are compared: of all facts, and of a state."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import MISSING, Field, fields, is_dataclass
from typing import Any

from assistant.record.lines.canonical import to_canonical
from assistant.session.facts.base import Fact
from assistant.session.rules import RULES_VERSION
from assistant.session.state import State
from assistant.session.wire import to_wire


def facts_sha256(facts: Iterable[Fact]) -> str:
    """SHA-256 over the canonical wire form of each fact with its time, one per line."""
    total = hashlib.sha256()
    for fact in facts:
        total.update(to_canonical({**to_wire(fact), "t_ms": fact.at_ms}) + b"\n")
    return total.hexdigest()


# Fields of the state that old facts fill too -> the version of the rules that first had them.
ADDED = {"last_wetted": 2, "dryings": 2, "settling": 2}


def state_sha256(state: State, rules: int = RULES_VERSION) -> str:
    """SHA-256 over the canonical form of a state, as a core of version `rules` knew it.

    A later core may have fields more, and an old record must still fold to the state that was sealed. So fields at
    their default are left out, and those in `ADDED` where the record is older than they."""
    known = {name: value for name, value in _plain(state).items() if ADDED.get(name, 0) <= rules}
    return hashlib.sha256(to_canonical(known)).hexdigest()


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


def _at_default(field: Field[Any], holder: Any) -> bool:
    value = getattr(holder, field.name)
    if field.default_factory is not MISSING:
        return bool(value == field.default_factory())
    return field.default is not MISSING and type(value) is type(field.default) and value == field.default
