"""Spoken readings: "minus zero point zero two", "forty five", "one oh three"."""

from __future__ import annotations

from assistant.hearing.values.spoken_words import DIGITS, TEENS, TENS


def parse(spoken: list[str]) -> str | None:
    """Digits with sign and point as said ("-0.02", "45", "103"), or None. Trailing zeros are kept: they are precision."""
    rest = list(spoken)
    sign = ""
    if rest and rest[0] in ("minus", "plus"):
        sign = "-" if rest.pop(0) == "minus" else ""
    fraction = ""
    if "point" in rest:
        at = rest.index("point")
        after = rest[at + 1:]
        if not after or any(w not in DIGITS for w in after):
            return None
        fraction = "." + "".join(DIGITS[w] for w in after)
        rest = rest[:at]
    whole = _whole(rest)
    if whole is None:
        return None
    return sign + whole + fraction


def _whole(rest: list[str]) -> str | None:
    if not rest:
        return None
    if all(w in DIGITS for w in rest):
        digits = "".join(DIGITS[w] for w in rest)
        return digits.lstrip("0") or "0"
    if len(rest) >= 2 and rest[0] in DIGITS and rest[1] == "hundred":
        hundreds = int(DIGITS[rest[0]])
        if hundreds == 0:
            return None
        tail = rest[3:] if rest[2:3] == ["and"] else rest[2:]
        if not tail:
            return None if rest[2:] else str(hundreds * 100)
        below = _below_hundred(tail)
        return None if below is None else str(hundreds * 100 + below)
    below = _below_hundred(rest)
    return None if below is None else str(below)


def _below_hundred(rest: list[str]) -> int | None:
    if len(rest) == 1:
        word = rest[0]
        if word in TEENS:
            return TEENS[word]
        if word in TENS:
            return TENS[word]
        return int(DIGITS[word]) if word in DIGITS else None
    if len(rest) == 2 and rest[0] in TENS and DIGITS.get(rest[1], "0") != "0":
        return TENS[rest[0]] + int(DIGITS[rest[1]])
    return None


NAMES = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


def parts(text: str) -> tuple[str, ...]:
    """A number read back digit by digit: "-0.02" -> minus, zero, point, zero, two."""
    names = {"-": "minus", ".": "point", **{str(k): name for k, name in enumerate(NAMES)}}
    return tuple(names[c] for c in text)


def digit(text: str) -> str | None:
    """One spoken digit, or None."""
    return DIGITS.get(text)
