"""Spoken words to typed values, whole or one sign at a time (kinds "number sign" and "lot sign", see `spelling`)."""

from __future__ import annotations

from assistant.hearing.utterance import Value
from assistant.hearing.values import dates, letters, numbers, spelling

KINDS = ("number", "lot", "date", "number sign", "lot sign")


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
    if kind in spelling.SIGNS:
        sign = spelling.sign(kind, text.lower())
        return None if sign is None else Value(kind, sign, (text.lower(),))
    raise ValueError(f"no such kind of value: {kind!r}")
