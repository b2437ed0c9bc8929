"""Spoken lot codes: spelling words and digits."""

from __future__ import annotations

from assistant.hearing.values.numbers import NAMES
from assistant.hearing.values.spoken_words import DIGITS, ICAO, TEENS, TENS

_WORD_OF = {letter: word for word, letter in ICAO.items()}


def parse(spoken: list[str]) -> str | None:
    """The code ("AB-1204", dashes only where said), or None when a word is neither letter nor digit."""
    out: list[str] = []
    for word in spoken:
        if word in ICAO:
            out.append(ICAO[word])
        elif word in DIGITS:
            out.append(DIGITS[word])
        elif word in TEENS or word in TENS:
            return None  # "twelve" could be 12 or 1 2: digits are said one at a time
        elif word == "dash":
            out.append("-")
        else:
            return None
    code = "".join(out)
    if code.startswith("-") or code.endswith("-") or "--" in code or not code:
        return None
    return code


def parts(code: str) -> tuple[str, ...]:
    """A code read back sign by sign: "A-1" -> alpha, dash, one."""
    return tuple("dash" if c == "-" else NAMES[int(c)] if c.isdigit() else _WORD_OF[c] for c in code)
