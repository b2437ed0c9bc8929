"""One sample of every class of fact, every field filled with something else than its default."""

from __future__ import annotations

from dataclasses import fields

from assistant.session.facts import KINDS
from assistant.session.facts.base import Fact

_BY_NAME = {
    "to": "open", "policy": "read_back", "phase": "contact", "verdict": "incomplete", "role": "warning",
    "manner": "slower", "given": "preset", "what": "skip", "mode": "step", "how": "go_back",
}


def sample(cls: type[Fact]) -> Fact:
    """Every field filled: numbers from 7 up, texts with their field's name, True, two-element tuples."""
    values: dict[str, object] = {}
    for n, field in enumerate(fields(cls), 7):
        kind = str(field.type)
        if kind == "int":
            values[field.name] = n * 1_000 + 1
        elif kind == "bool":
            values[field.name] = field.default is not True
        elif kind == "str":
            values[field.name] = _BY_NAME.get(field.name, f"{field.name} \u00fc\ud55c")
        elif kind == "tuple[str, ...]":
            values[field.name] = ("one", f"{field.name} two")
        elif kind == "tuple[tuple[str, int], ...]":
            values[field.name] = (("a", 1), ("b", -2))
        else:
            raise TypeError(f"{cls.__name__}.{field.name}: no sample for {kind}")
    return cls(**values)


SAMPLES = {kind: sample(cls) for kind, cls in KINDS.items()}
