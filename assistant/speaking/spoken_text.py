"""Written lines to speakable words: units, numbers, codes, durations. English."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping

_ONES = (
    "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen "
    "seventeen eighteen nineteen"
).split()
_TENS = "_ _ twenty thirty forty fifty sixty seventy eighty ninety".split()
_LETTER_A = "ay"  # a lone A would be said as the article

# written unit -> (spoken for one, spoken for other numbers); tried longest first
_UNITS = {
    "in. w.c.": ("inch water column", "inches water column"),
    "in. H2O": ("inch water column", "inches water column"),
    "% v/v": ("percent by volume", "percent by volume"),
    "% w/w": ("percent by weight", "percent by weight"),
    "%": ("percent", "percent"),
    "m3/h": ("cubic metre an hour", "cubic metres an hour"),
    "m³/h": ("cubic metre an hour", "cubic metres an hour"),
    "m/s": ("metre a second", "metres a second"),
    "m3": ("cubic metre", "cubic metres"),
    "m³": ("cubic metre", "cubic metres"),
    "m2": ("square metre", "square metres"),
    "m²": ("square metre", "square metres"),
    "cm2": ("square centimetre", "square centimetres"),
    "cm": ("centimetre", "centimetres"),
    "mm": ("millimetre", "millimetres"),
    "mL": ("millilitre", "millilitres"),
    "ml": ("millilitre", "millilitres"),
    "L": ("litre", "litres"),
    "kPa": ("kilopascal", "kilopascals"),
    "Pa": ("pascal", "pascals"),
    "ppm": ("part per million", "parts per million"),
    "kg": ("kilogram", "kilograms"),
    "mg": ("milligram", "milligrams"),
    "g": ("gram", "grams"),
    "°C": ("degree Celsius", "degrees Celsius"),
    "°F": ("degree Fahrenheit", "degrees Fahrenheit"),
    "ACH": ("air change an hour", "air changes an hour"),
    "dB": ("decibel", "decibels"),
    "min": ("minute", "minutes"),
    "h": ("hour", "hours"),
    "s": ("second", "seconds"),
}
_ABBREVIATIONS = {
    "HEPA": "heppa",
    "e.g.": "for example",
    "i.e.": "that is",
    "No.": "number",
    "approx.": "about",
}

_UNIT = "|".join(re.escape(u) for u in sorted(_UNITS, key=len, reverse=True))
_NUMBER = r"[-−]?\d[\d,]*(?:\.\d+)?"
_WITH_UNIT = re.compile(rf"(?<![\w.-])({_NUMBER})\s?({_UNIT})(?![\w/])")
_CLOCK = re.compile(r"(?<![\w:.])(\d{1,3}):([0-5]\d)(?![\w:])")
_RANGE = re.compile(rf"(?<![\w.])(\d+(?:\.\d+)?)\s?[–-]\s?(?=\d+(?:\.\d+)?(?:\s|$|{_UNIT}))")
_CODE = re.compile(r"(?<![\w-])([A-Z]{1,4})-(\d{1,2})(?![\w-])")
_LOT = re.compile(r"(?<![\w-])(?=[A-Z0-9-]*\d)(?=[A-Z0-9-]*[A-Z])[A-Z0-9]+(?:-[A-Z0-9]+)*(?![\w-])")
_INITIALS = re.compile(r"(?<![\w-])(?!I\b|A\b)[A-Z]{2,4}(?![\w-])")
_BARE_NUMBER = re.compile(rf"(?<![\w.-])({_NUMBER})(?![\w])")
_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f]+")


def spoken(text: str) -> str:
    """The words to say for a written English line; a line of plain words comes back as it is.

    Spoken already is spoken again the same.
    """
    text = _CONTROL.sub(" ", text)
    for short, long in _ABBREVIATIONS.items():
        text = re.sub(rf"(?<!\w){re.escape(short)}(?!\w)", long, text)
    text = _CLOCK.sub(lambda m: duration_words(int(m[1]) * 60 + int(m[2])), text)
    text = _RANGE.sub(lambda m: f"{m[1]} to ", text)
    text = _WITH_UNIT.sub(_number_with_unit, text)
    text = _CODE.sub(lambda m: f"{_letters(m[1])} {number_words(m[2])}", text)
    text = _LOT.sub(lambda m: digit_by_digit(m[0]), text)
    text = _INITIALS.sub(lambda m: _letters(m[0]), text)
    text = _BARE_NUMBER.sub(lambda m: number_words(m[1]), text)
    text = re.sub(r"\s+[-–—]\s+|\s*[()]\s*", ", ", text)
    text = text.replace("_", " ").replace("&", " and ")
    text = re.sub(r"\s*,(?:\s*,)+", ",", text)
    text = re.sub(r",\s*(?=[.!?])", "", text)
    return re.sub(r"\s+", " ", text).strip().strip(",").strip()


def pronounced(text: str, pronunciations: Mapping[str, str]) -> str:
    """Replace whole written names by their spoken forms, longest names first, each place once, any case."""
    if not pronunciations:
        return text
    lowered = {name.lower(): form for name, form in pronunciations.items()}
    names = "|".join(re.escape(name) for name in sorted(lowered, key=len, reverse=True))
    return re.sub(rf"(?<!\w)(?:{names})(?!\w)", lambda m: lowered[m[0].lower()], text, flags=re.IGNORECASE)


def duration_words(seconds: float) -> str:
    """A time as it is said: 80 -> "one minute twenty seconds". Rounded UP to whole seconds, so that no
    wait sounds shorter; less than a millisecond over isn't counted."""
    total = max(0, math.ceil(round(seconds, 3)))
    hours, rest = divmod(total, 3600)
    minutes, left = divmod(rest, 60)
    parts = [(hours, "hour"), (minutes, "minute"), (left, "second")]
    said = [f"{number_words(str(n))} {unit}{'' if n == 1 else 's'}" for n, unit in parts if n]
    return " ".join(said) or "zero seconds"


def number_words(number: str) -> str:
    """A written decimal as words: "-0.02" -> "minus zero point zero two", "1,200" -> "one thousand two
    hundred".

    A whole part of more than six digits, or with a leading zero, is said digit by digit.
    """
    number = number.replace(",", "")
    sign = "minus " if number[0] in "-−" else ""
    whole, _, decimals = number.lstrip("-−").partition(".")
    if len(whole) > 6 or (len(whole) > 1 and whole[0] == "0"):
        words = digit_by_digit(whole)
    else:
        words = _whole_words(int(whole))
    return sign + words + (" point " + digit_by_digit(decimals) if decimals else "")


def digit_by_digit(code: str) -> str:
    """Letters and digits of a code one by one: "A47" -> "A four seven"; a hyphen is said as "dash"."""
    names = {"-": "dash", "A": _LETTER_A, **{str(d): _ONES[d] for d in range(10)}}
    return " ".join(names.get(ch, ch) for ch in code if ch.isalnum() or ch == "-")


def _letters(code: str) -> str:
    return " ".join(_LETTER_A if ch == "A" else ch for ch in code)


def _whole_words(n: int) -> str:
    if n < 20:
        return _ONES[n]
    if n < 100:
        return _TENS[n // 10] + (" " + _ONES[n % 10] if n % 10 else "")
    if n < 1000:
        return _ONES[n // 100] + " hundred" + (" " + _whole_words(n % 100) if n % 100 else "")
    return _whole_words(n // 1000) + " thousand" + (" " + _whole_words(n % 1000) if n % 1000 else "")


def _number_with_unit(match: re.Match[str]) -> str:
    number, unit = match[1], match[2]
    if unit in ("s", "min", "h") and "." not in number and number[0] not in "-−":
        factor = {"s": 1, "min": 60, "h": 3600}[unit]
        return duration_words(int(number.replace(",", "")) * factor)
    return f"{number_words(number)} {_UNITS[unit][0 if number == '1' else 1]}"
