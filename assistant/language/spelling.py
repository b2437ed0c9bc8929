"""A value said one sign at a time: what may follow, when it is whole; and a part said again put in its place."""

from __future__ import annotations

import re
from datetime import date

NUMBER, LOT, DATE = "number", "lot", "date"
LONGEST = 24  # signs; more is not something a person reads out
_BEGINS = {
    NUMBER: re.compile(r"-?(\d+(\.\d*)?)?"), LOT: re.compile(r"([A-Z0-9]+-?)*"), DATE: re.compile(r"\d{0,8}"),
}


def may_follow(kind: str, so_far: str, sign: str) -> bool:
    """Whether a value of `kind` (number, lot or date) can begin with `so_far` and then `sign`."""
    text = so_far + sign
    return len(sign) == 1 and len(text) <= LONGEST and bool(_BEGINS[kind].fullmatch(text))


def whole(kind: str, text: str) -> str:
    """The value in its written form ("-0.02", "AB1204", "2027-03-31"), or "" while it isn't one. A date is eight
    digits: year, month, day."""
    if kind == LOT:
        return "" if text.endswith("-") else text
    if kind == DATE:
        iso = f"{text[:4]}-{text[4:6]}-{text[6:]}"
        try:
            return date.fromisoformat(iso).isoformat() if len(text) == 8 else ""
        except ValueError:
            return ""
    if not re.fullmatch(r"-?\d+(\.\d+)?", text):
        return ""
    digits, point, rest = text.removeprefix("-").partition(".")
    return ("-" if text.startswith("-") else "") + (digits.lstrip("0") or "0") + point + rest


def mended(value: str, part: str) -> str:
    """`value` with the one place exchanged that `part` fits best; `part` itself where it is no part of it.

    Nothing is guessed: it must be shorter, agree with that place in one sign at least, differ in one at least, and
    fit nowhere else as well. What comes of it is read back like any other value.
    """
    length = len(part)
    if not 0 < length < len(value):
        return part
    odd = [sum(a != b for a, b in zip(value[at:at + length], part, strict=True)) for at in range(len(value) - length + 1)]
    best = min(odd)
    if not 0 < best < length or odd.count(best) != 1:
        return part
    at = odd.index(best)
    return value[:at] + part + value[at + length:]
