"""One sign at a time, for when a whole number or lot code can't be heard: digits, letters, minus, point, dash."""

from __future__ import annotations

from assistant.hearing.values.spoken_words import DIGITS, ICAO
from assistant.language import spelling

_NUMBER = {**DIGITS, "minus": "-", "point": "."}
_LOT = {**DIGITS, **ICAO, "dash": "-"}
SIGNS = {"number sign": _NUMBER, "lot sign": _LOT}


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
        if not spelling.may_follow(self.kind, self.text, sign):
            return False
        self.text += sign
        return True

    def undo(self) -> None:
        """Take the last sign back ("correction")."""
        self.text = self.text[:-1]

    def value(self) -> str | None:
        """The value in its written form ("-0.02", "AB1204"), or None while it isn't one."""
        return spelling.whole(self.kind, self.text) or None
