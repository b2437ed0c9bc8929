"""The assistant's sentences as a trained person knows them, and what was heard held against them.

Somebody who has been through a procedure knows its lines, not what comes next: each heard sentence is the known one that
is nearest word by word, with numbers, spelled letters and dates left open; where two are as near, or none is near, the
person isn't sure.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from assistant.practice.operator.saying import lot_words
from assistant.speaking.spoken_text import spoken

NUMBERS = ("zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen "
           "seventeen eighteen nineteen twenty thirty forty fifty sixty seventy eighty ninety").split()
LETTERS = tuple(lot_words(chr(65 + k)) for k in range(26))
NUMBER, LETTER = "#", "@"
DASH = "dash"
SIGNS = (*NUMBERS[:10], *LETTERS, DASH, "minus", "point")  # what a value is spelled with
_OFFERED = ("you", "can", "say")
NEAR = 0.34  # of a sentence's words may be otherwise. Common practice, no source.
_VALUES = {word: n for n, word in enumerate(NUMBERS[:20])} | {word: 10 * n for n, word in enumerate(NUMBERS[20:], 2)}
_OPEN = re.compile(r"\d{4}-\d\d-\d\d|\d+(?: \d+)*|\b(?:" + "|".join(LETTERS) + r")\b", re.IGNORECASE)
_DATE = re.compile(r"\d{4}-\d\d-\d\d")


def words_of(text: str) -> list[str]:
    """The words that are said for a line, lower case; digits that the voice reads by itself as number words."""
    said = re.sub(r"(?<=\d)-(?=\d)", f" {DASH} ", spoken(text).lower())  # as the voice reads it inside a date
    said = re.sub(r"\d+", lambda m: f" {_number(m[0])} ", said)
    return re.findall(r"[a-z']+", said.replace("-", " "))


def word_errors(said: list[str], heard: list[str]) -> int:
    """Least number of words put in, left out or changed (V. I. Levenshtein, 1966)."""
    row = list(range(len(heard) + 1))
    for i, word in enumerate(said, 1):
        before, row[0] = row[0], i
        for j, other in enumerate(heard, 1):
            before, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, before + (word != other))
    return row[-1]


@dataclass(frozen=True, slots=True)
class Heard:
    """`text`: the sentence as it would be written, "" where the person isn't sure which one it was."""

    text: str
    sure: bool


class KnownLines:
    """`sentences`: as written. The first of those that differ only in what is left open stands for all."""

    def __init__(self, sentences: Iterable[str]) -> None:
        self.written: dict[tuple[str, ...], str] = {}
        for sentence in sentences:
            key = pattern(words_of(sentence))
            if key:
                self.written.setdefault(key, sentence)

    def nearest(self, heard: list[str]) -> Heard:
        """The known sentence that `heard` is taken for."""
        tokens = pattern(heard)
        if not tokens:
            return Heard("", False)
        if tuple(heard[:3]) == _OFFERED:  # which words are listed is another matter each time
            return Heard(f"You can say: {' '.join(heard[3:])}.", True)
        if heard[:2] == ["so", "far"] or (len(heard) == 1 and heard[0] in SIGNS):  # what was spelled is another matter each time
            return spelled(heard)
        if tokens in self.written:
            return self._filled(self.written[tokens], tokens, heard)
        ranked = sorted((word_errors(list(key), list(tokens)), key) for key in self.written if abs(len(key) - len(tokens)) <= 4)
        if not ranked or ranked[0][0] > NEAR * len(ranked[0][1]):
            return Heard("", False)
        least, best = ranked[0]
        if len(ranked) > 1 and ranked[1][0] == least:
            return Heard("", False)
        return self._filled(self.written[best], best, heard)

    @staticmethod
    def _filled(written: str, key: tuple[str, ...], heard: list[str]) -> Heard:
        """The sentence with what was heard where it leaves something open. A time or a count that wasn't made out is left
        as it is known: nothing hangs on it. A value read back must be made out."""
        values, wanted = _runs(heard), [t for t in key if t in (NUMBER, LETTER)]
        whole = [kind for kind, _ in values] == wanted
        if not whole:
            return Heard(written, not _reads_back(written))
        rest = iter(run for _, run in values)
        sure = True

        def fill(found: re.Match[str]) -> str:
            nonlocal sure
            run = next(rest, [])
            if run and run[0] in LETTERS:
                return run[0]
            if _DATE.fullmatch(found[0]):
                date = _date(run)
                sure = sure and bool(date)
                return date or found[0]
            return _digits(run) or found[0]

        return Heard(_OPEN.sub(fill, written), sure)


def spelled(heard: list[str]) -> Heard:
    """What the assistant says back of a value said sign by sign, as it would be written: "so far kilo five" -> "So far
    kilo 5.". Not sure where a word of it is no sign."""
    signs = heard[2:] if heard[:2] == ["so", "far"] else heard
    if not signs or not all(word in SIGNS for word in signs):
        return Heard("", False)
    written = " ".join(str(_VALUES[word]) if word in _VALUES else word for word in signs)
    return Heard(f"So far {written}." if signs is not heard else f"{written}.", True)


def pattern(words: list[str]) -> tuple[str, ...]:
    """The words with each run of numbers as "#", each spelled letter as "@"."""
    out: list[str] = []
    for at, word in enumerate(words):
        if _is_number(words, at):
            if not out or out[-1] != NUMBER or not _is_number(words, at - 1):
                out.append(NUMBER)
        else:
            out.append(LETTER if word in LETTERS else word)
    return tuple(out)


def _is_number(words: list[str], at: int) -> bool:
    return at >= 0 and (words[at] in _VALUES or words[at] in ("thousand", DASH))


def _reads_back(written: str) -> bool:
    return written.lower().startswith(("i understood", "so far"))


def _runs(words: list[str]) -> list[tuple[str, list[str]]]:
    """What a sentence leaves open, in order: ("#", number words in a row) or ("@", [letter])."""
    out: list[tuple[str, list[str]]] = []
    for at, word in enumerate(words):
        if _is_number(words, at):
            if out and out[-1][0] == NUMBER and _is_number(words, at - 1):
                out[-1][1].append(word)
            else:
                out.append((NUMBER, [word]))
        elif word in LETTERS:
            out.append((LETTER, [word]))
    return out


def _together(run: list[str]) -> list[int]:
    """Number words as numbers: twenty five is one, four one are two."""
    out: list[int] = []
    tens = False
    for word in run:
        if word == DASH:
            tens = False
            continue
        value = _VALUES.get(word, 1000)
        if tens and 0 < value < 10:
            out[-1] += value
        else:
            out.append(value)
        tens = 20 <= value < 100
    return out


def _digits(run: list[str]) -> str:
    return "".join(str(n) for n in _together(run))


def _date(run: list[str]) -> str:
    """"two thousand twenty seven eleven thirty" as 2027-11-30; "" where it is no date."""
    if run[:2] != ["two", "thousand"]:
        return ""
    found = _together(run[2:])
    year, rest = found[0] if found else 0, found[1:]
    rest = [n for k, n in enumerate(rest) if n or k + 1 == len(rest)]  # zero nine is nine
    return f"20{year:02d}-{rest[0]:02d}-{rest[1]:02d}" if len(rest) == 2 and 1 <= rest[0] <= 12 and 1 <= rest[1] <= 31 else ""


def _number(digits: str) -> str:
    value = int(digits)
    if len(digits) > 2 or digits.startswith("0"):
        return " ".join(NUMBERS[int(d)] for d in digits)
    return NUMBERS[value] if value < 20 else f"{NUMBERS[18 + value // 10]} {NUMBERS[value % 10] if value % 10 else ''}"
