"""Spoken words to typed values."""

from __future__ import annotations

from . import dates, letters, numbers
from .utterance import Value

KINDS = ("number", "lot", "date")


def parse(kind: str, text: str, language: str = "en") -> Value | None:
    """The value in `text`, or None when the words aren't one value of that kind."""
    spoken = text.lower().split()
    if not spoken:
        return None
    if kind == "number":
        found = numbers.parse(spoken)
        return None if found is None else Value("number", found, numbers.parts(found))
    if kind == "lot":
        found = letters.parse(spoken)
        return None if found is None else Value("lot", found, letters.parts(found))
    if kind == "date":
        found = dates.parse(spoken)
        return None if found is None else Value("date", found, dates.parts(found))
    raise ValueError(f"no such kind of value: {kind!r}")
