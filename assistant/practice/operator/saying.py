"""Numbers, lots and dates as a person says them to the assistant: one way each, chosen to be heard well.

Letters: the ICAO radiotelephony spelling alphabet (ICAO Annex 10, volume II, 5.2.1.3).
"""

from __future__ import annotations

import datetime

_DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
_TEENS = ("ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen")
_TENS = ("", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
_LETTERS = (
    "alpha bravo charlie delta echo foxtrot golf hotel india juliet kilo lima mike november oscar papa quebec romeo "
    "sierra tango uniform victor whiskey x-ray yankee zulu"
).split()
_MONTHS = (
    "january february march april may june july august september october november december"
).split()
_ORDINALS = (
    "first second third fourth fifth sixth seventh eighth ninth tenth eleventh twelfth thirteenth fourteenth "
    "fifteenth sixteenth seventeenth eighteenth nineteenth twentieth"
).split()


def number_words(text: str) -> str:
    """"-65" -> "minus six five"; digit by digit, sign first. Raises ValueError for anything but a plain number."""
    out = []
    for char in text:
        if char == "-":
            out.append("minus")
        elif char == ".":
            out.append("point")
        elif char.isdigit():
            out.append(_DIGITS[int(char)])
        else:
            raise ValueError(f"not a plain number: {text!r}")
    return " ".join(out)


def lot_words(code: str) -> str:
    """"B-417" -> "bravo dash four one seven". Raises ValueError for another sign than letter, digit or dash."""
    out = []
    for char in code.upper():
        if char == "-":
            out.append("dash")
        elif char.isdigit():
            out.append(_DIGITS[int(char)])
        elif "A" <= char <= "Z":
            out.append(_LETTERS[ord(char) - 65])
        else:
            raise ValueError(f"not a lot code: {code!r}")
    return " ".join(out)


def date_words(iso: str, with_day: bool = False) -> str:
    """"2027-03-31" -> "march twenty twenty seven" for a month's last day, else with the day: "third of march ..."."""
    day = datetime.date.fromisoformat(iso)
    year = f"twenty {below_hundred(day.year - 2000)}"
    month = _MONTHS[day.month - 1]
    if not with_day and (day + datetime.timedelta(days=1)).month != day.month:
        return f"{month} {year}"
    return f"{_ordinal(day.day)} of {month} {year}"


def below_hundred(n: int) -> str:
    """10 to 99 in words. Raises ValueError outside."""
    if not 10 <= n <= 99:
        raise ValueError(f"only 10 to 99 can be said so, not {n}")
    if n < 20:
        return _TEENS[n - 10]
    return _TENS[n // 10] + (f" {_DIGITS[n % 10]}" if n % 10 else "")


def value_words(kind: str, text: str, attempt: int = 0) -> str:
    """The words for a value of kind number, lot or date. Another `attempt` says it another way where there is one."""
    if kind == "number":
        return tens_words(text) if attempt % 2 == 0 else number_words(text)
    if kind == "date":
        return date_words(text, with_day=attempt % 2 == 1)
    return lot_words(text)


def tens_words(text: str) -> str:
    """"-65" -> "minus sixty five"; digit by digit where there is a point or more than two digits."""
    whole = text.lstrip("-")
    if not whole.isdigit() or not 10 <= int(whole) <= 99 or len(whole) != 2:
        return number_words(text)
    return ("minus " if text.startswith("-") else "") + below_hundred(int(whole))


def _ordinal(day: int) -> str:
    if day <= 20:
        return _ORDINALS[day - 1]
    if day == 30:
        return "thirtieth"
    return f"{_TENS[day // 10]} {_ORDINALS[day % 10 - 1]}"
