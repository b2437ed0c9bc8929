"""What every fact has: a versioned word as its name, the moment it was decided, and fields that hold what they may.

A field's type says what it may hold: `Ms` is a moment or a length of time, `Id` names something of the plan,
`one_of(...)` lists the words. A fact that breaks this can't be made, neither by a decision nor from a record.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import Annotated, Any, ClassVar, NamedTuple, get_args, get_origin, get_type_hints


class Must(NamedTuple):
    """What a field must hold beside its plain type: in words, as a test, and the words allowed where they are listed."""

    expected: str
    holds: Callable[[Any], bool]
    among: tuple[str, ...] = ()


def one_of(*words: str) -> Must:
    """One of these words and no other."""
    return Must(f"one of: {', '.join(words)}", frozenset(words).__contains__, words)


def at_least(least: int) -> Must:
    return Must(f"{least} or more", least.__le__)


Ms = Annotated[int, at_least(0)]
Count = Annotated[int, at_least(0)]
MsOrNone = Annotated[int, at_least(-1)]  # -1: none
Thousandths = Annotated[int, Must("0 to 1000", range(1001).__contains__)]
Id = Annotated[str, Must("not empty", bool)]


class FactError(ValueError):
    """A fact that can't be: names the fact, the field, what was found there and what may stand there."""


@dataclass(frozen=True, slots=True)
class Fact:
    """Something that happened. `at_ms`: monotonic milliseconds since the session began.

    KIND is the name in the record and never changes; VERSION grows when a field changes its meaning.
    """

    KIND: ClassVar[str] = ""
    VERSION: ClassVar[int] = 1

    at_ms: Ms

    def __post_init__(self) -> None:
        for name, holds, expected in checks(type(self)):
            value = getattr(self, name)
            if not holds(value):
                raise FactError(f"fact {self.KIND!r}: {name} should be {expected}, is {repr(value)[:60]}")


class Check(NamedTuple):
    """One field of a fact: its name, whether a value may stand there, and what may, in words."""

    name: str
    holds: Callable[[Any], bool]
    expected: str


_KNOWN: dict[type[Fact], tuple[Check, ...]] = {}  # worked out once for each class


def checks(cls: type[Fact]) -> tuple[Check, ...]:
    """The fields of a class of fact and what each may hold."""
    found = _KNOWN.get(cls)
    if found is None:
        hints = get_type_hints(cls, include_extras=True)
        found = _KNOWN[cls] = tuple(Check(f.name, *_check(hints[f.name])) for f in fields(cls))
    return found


def _check(hint: Any) -> tuple[Callable[[Any], bool], str]:
    must: Must | None = None
    if get_origin(hint) is Annotated:
        hint, must = get_args(hint)
    plain, expected = _PLAIN[hint]
    if must is None:
        return plain, expected
    also = must.holds
    return lambda value: plain(value) and also(value), f"{expected}, {must.expected}"


def _texts(value: Any) -> bool:
    return type(value) is tuple and all(type(item) is str for item in value)


def _scores(value: Any) -> bool:
    return type(value) is tuple and all(
        type(item) is tuple and len(item) == 2 and type(item[0]) is str and type(item[1]) is int for item in value
    )


# The plain types of fields. A type that a new fact brings along is added here.
_PLAIN: dict[Any, tuple[Callable[[Any], bool], str]] = {
    int: (lambda value: type(value) is int, "a whole number"),
    bool: (lambda value: type(value) is bool, "true or false"),
    str: (lambda value: isinstance(value, str), "a text"),
    tuple[str, ...]: (_texts, "a list of texts"),
    tuple[tuple[str, int], ...]: (_scores, "a list of pairs of a text and a whole number"),
}
