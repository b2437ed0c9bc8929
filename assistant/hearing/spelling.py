"""One sign at a time, for when a whole number or lot code can't be heard: digits, letters, minus, point, dash."""

from __future__ import annotations

from . import letters, numbers
from .spoken_words import DIGITS, ICAO

_NUMBER = {**DIGITS, "minus": "-", "point": "."}
_LOT = {**DIGITS, **ICAO, "dash": "-"}
SIGNS = {"number sign": _NUMBER, "lot sign": _LOT}
LONGEST = 24


def sign(kind: str, word: str) -> str | None:
    """The sign a word stands for, or None. `kind`: "number sign" or "lot sign"; KeyError for another."""
    return SIGNS[kind].get(word)


class Spelling:
    """Signs put together to one value. `kind`: "number" or "lot". Nothing is taken that no value could begin with."""

    def __init__(self, kind: str) -> None:
        if kind not in ("number", "lot"):
            raise ValueError(f"only numbers and lots are said one sign at a time, not {kind!r}")
        self.kind = kind
        self.text = ""

    @property
    def expect(self) -> str:
        """What the listener should expect next."""
        return f"{self.kind} sign"

    def add(self, sign: str) -> bool:
        """Take one sign; False, and nothing changes, where it can't stand there."""
        after = self.text + sign
        if len(sign) != 1 or len(after) > LONGEST or not self._may_begin(after):
            return False
        self.text = after
        return True

    def undo(self) -> None:
        """Take the last sign back ("correction")."""
        self.text = self.text[:-1]

    def value(self) -> str | None:
        """The value in its written form ("-0.02", "AB1204"), or None while it isn't one."""
        if not self.text:
            return None
        parse, parts = (numbers.parse, numbers.parts) if self.kind == "number" else (letters.parse, letters.parts)
        return parse(list(parts(self.text)))

    def _may_begin(self, text: str) -> bool:
        if self.kind == "number":
            body = text.removeprefix("-")
            whole, point, fraction = body.partition(".")
            return all(c in "0123456789" for c in whole + fraction) and not (point and not whole)
        return not text.startswith("-") and "--" not in text and all(c == "-" or c.isdigit() or "A" <= c <= "Z" for c in text)
