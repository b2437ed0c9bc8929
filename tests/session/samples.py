"""One sample of every class of fact, every field filled with something else than its default."""

from __future__ import annotations

from dataclasses import fields
from typing import Annotated, get_args, get_origin, get_type_hints

from assistant.session.facts import KINDS
from assistant.session.facts.base import Fact, Must, Thousandths


def sample(cls: type[Fact]) -> Fact:
    """Every field filled: numbers from 7 up, texts with their field's name or the last word that may stand there,
    True, two-element tuples."""
    values: dict[str, object] = {}
    hints = get_type_hints(cls, include_extras=True)
    for n, field in enumerate(fields(cls), 7):
        hint, among = hints[field.name], ()
        small = hint == Thousandths
        if get_origin(hint) is Annotated:
            hint, must = get_args(hint)
            assert isinstance(must, Must)
            among = [word for word in must.among if word != field.default]
        if among:
            values[field.name] = among[-1]
        elif hint is int:
            values[field.name] = n if small else n * 1_000 + 1
        elif hint is bool:
            values[field.name] = field.default is not True
        elif hint is str:
            values[field.name] = f"{field.name} \u00fc\ud55c"
        elif hint == tuple[str, ...]:
            values[field.name] = ("one", f"{field.name} two")
        elif hint == tuple[tuple[str, int], ...]:
            values[field.name] = (("a", 1), ("b", -2))
        else:
            raise TypeError(f"{cls.__name__}.{field.name}: no sample for {hint}")
    return cls(**values)


SAMPLES = {kind: sample(cls) for kind, cls in KINDS.items()}
