"""Spoken dates, for expiry: "third of march twenty twenty seven", "march twenty twenty seven" (its last day)."""

from __future__ import annotations

import calendar
import datetime

from assistant.hearing.values.spoken_words import DIGITS, MONTHS, ORDINALS, TEENS, TENS

_MONTH_NAMES = {number: name for name, number in MONTHS.items()}


def parse(spoken: list[str]) -> str | None:
    """ISO date, or None. A month without a day is its last day, as expiry dates are read (USP <7>: "the last day of
    the month", from memory). The year is said "twenty twenty seven"."""
    found = [k for k, w in enumerate(spoken) if w in MONTHS]
    if len(found) != 1:
        return None
    at = found[0]
    month = MONTHS[spoken[at]]
    before = [w for w in spoken[:at] if w != "of"]
    after = spoken[at + 1:]
    if before:
        day = _day(before)
        year = _year(after)
        return _iso(year, month, day) if day else None
    for split in range(len(after)):
        year = _year(after[split:])
        if year is None:
            continue
        if split == 0:
            return _iso(year, month, calendar.monthrange(year, month)[1])
        day = _day(after[:split])
        return _iso(year, month, day) if day else None
    return None


def _day(spoken: list[str]) -> int | None:
    if len(spoken) == 1:
        word = spoken[0]
        return ORDINALS.get(word) or TEENS.get(word) or TENS.get(word) or int(DIGITS.get(word, "0")) or None
    if len(spoken) == 2 and spoken[0] in ("twenty", "thirty"):
        unit = ORDINALS.get(spoken[1]) or int(DIGITS.get(spoken[1], "0"))
        return TENS[spoken[0]] + unit if 1 <= unit <= 9 else None
    return None


def _year(spoken: list[str]) -> int | None:
    if not spoken or spoken[0] != "twenty":
        return None
    rest = spoken[1:]
    if len(rest) == 1:
        low = TEENS.get(rest[0]) or TENS.get(rest[0])
        return 2000 + low if low else None
    if len(rest) == 2 and rest[0] in TENS and DIGITS.get(rest[1], "0") != "0":
        return 2000 + TENS[rest[0]] + int(DIGITS[rest[1]])
    return None


def _iso(year: int | None, month: int, day: int) -> str | None:
    if year is None:
        return None
    try:
        return datetime.date(year, month, day).isoformat()
    except ValueError:
        return None


def parts(iso: str) -> tuple[str, ...]:
    """A date read back: day, month name, year."""
    year, month, day = (int(p) for p in iso.split("-"))
    return (str(day), _MONTH_NAMES[month], str(year))
