"""Older versions of an event's words, read through explicit steps: (kind, v) -> the next version.

Lines are never rewritten; only what is handed on to the core is lifted. A step takes and returns the wire
form."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from assistant.errors import RecordError

Upcaster = Callable[[dict[str, Any]], dict[str, Any]]
UPCASTERS: dict[tuple[str, int], Upcaster] = {}


def upcast(fact: dict[str, Any], steps: Mapping[tuple[str, int], Upcaster] | None = None) -> dict[str, Any]:
    """Lift a fact step by step to the newest version that `steps` lead to. Raises RecordError for a step that
    doesn't rise, since that would never end."""
    steps = UPCASTERS if steps is None else steps
    for _ in range(100):
        step = steps.get((fact["kind"], fact["v"]))
        if step is None:
            return fact
        lifted = step({**fact, "data": dict(fact["data"])})
        if (lifted["kind"], lifted["v"]) == (fact["kind"], fact["v"]):
            break
        fact = lifted
    raise RecordError(f"The reading of old '{fact['kind']}' lines leads nowhere.")
