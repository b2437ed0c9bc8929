"""Spoken numbers, lots and dates as the speech model may write them, for `reading`: a graph for each kind of value.

The words handed out are those that `values.parse` takes. The model writes "forty five", "Forty-five" or "45"; a digit
stands for its name, since a number said digit by digit has the same value.
"""

from __future__ import annotations

from collections.abc import Mapping

from assistant.hearing.reading.reading import START, Graph
from assistant.hearing.reading.word_pieces import WordPieces
from assistant.hearing.values.grammar import KINDS
from assistant.hearing.values.spoken_words import DIGITS, ICAO, MONTHS, ORDINALS, TEENS, TENS

YEARS = range(2020, 2060)
_DIGITS = {word: (word, sign) if word not in ("oh", "niner") else (word,) for word, sign in DIGITS.items()}
_TEENS = {word: (word,) for word in TEENS}
_TENS = {word: (word,) for word in TENS}
_OTHER_SPELLINGS = {"juliet": ("juliett",), "alpha": ("alfa",), "x-ray": ("x ray", "xray"), "whiskey": ("whisky",)}
_LETTERS = {word: (word, *_OTHER_SPELLINGS.get(word, ())) for word in ICAO}
_FOLLOWS = (" {}", ", {}", "-{}", ". {}")    # a way of writing, after another word


def value_graphs(pieces: WordPieces) -> dict[str, Graph]:
    """One for each of `values.KINDS`."""
    makers = {"number": _number, "lot": _lot, "date": _date, "number sign": _number_sign, "lot sign": _lot_sign}
    found = {}
    for kind in KINDS:
        graph = Graph(pieces)
        makers[kind](graph)
        found[kind] = graph
    return found


def _number(graph: Graph) -> None:
    point = {"point": ("point",)}
    for state in (START, "signed"):
        first = state == START
        for word, ways in _DIGITS.items():
            _add(graph, state, {word: ways}, "zero" if DIGITS[word] == "0" else "digit", first)
        _add(graph, state, _TEENS, "whole", first)
        _add(graph, state, _TENS, "tens", first)
    _add(graph, START, {"minus": ("minus",), "plus": ("plus",)}, "signed", True)
    graph.add(START, "minus", ("-",), "signed")
    for state in ("digit", "zero", "digits"):
        _add(graph, state, _DIGITS, "digits")
        graph.add(state, "point", (".",), "decimal", first=False)
    for word, (*_, sign) in _DIGITS.items():
        if sign.isdigit():
            for state in ("digit", "zero", "digits", "decimal", "decimals"):
                graph.add(state, word, (sign,), "decimals" if state.startswith("decimal") else "digits", first=False)
    # Only what `numbers.parse` takes: no "zero hundred", no "forty zero".
    counting = {word: ways for word, ways in _DIGITS.items() if DIGITS[word] != "0"}
    _add(graph, "digit", {"hundred": ("hundred",)}, "hundred")
    _add(graph, "tens", counting, "whole")
    for state in ("hundred", "hundred and"):
        _add(graph, state, counting, "whole")
        _add(graph, state, _TEENS, "whole")
        _add(graph, state, _TENS, "tens")
    _add(graph, "hundred", {"and": ("and",)}, "hundred and")
    for state in ("digit", "zero", "digits", "whole", "tens", "hundred"):
        _add(graph, state, point, "decimal")
    _add(graph, "decimal", _DIGITS, "decimals")
    _add(graph, "decimals", _DIGITS, "decimals")
    graph.accept("digit", "zero", "digits", "whole", "tens", "hundred", "decimals")


def _lot(graph: Graph) -> None:
    _add(graph, START, _LETTERS, "letters", True)
    _add(graph, START, _DIGITS, "only digits", True)
    _add(graph, "letters", _LETTERS, "letters")
    dash = {"dash": ("dash",)}
    _add(graph, "letters", dash, "dash")
    for state, leads_to in (("letters", "digits"), ("dash", "digits"), ("digits", "digits"), ("only digits", "only digits")):
        _add(graph, state, _DIGITS, leads_to)
        for word, (*_, sign) in _DIGITS.items():
            if sign.isdigit() and state != "letters":
                graph.add(state, word, (sign,), leads_to, first=False)
    _add(graph, "digits", dash, "last dash")
    for state in ("digits", "last dash", "only digits"):
        _add(graph, state, _LETTERS, "last")
    graph.accept("letters", "digits", "only digits", "last")


def _date(graph: Graph) -> None:
    days = _days()
    months = {month: (month,) for month in MONTHS}
    years = {words: (words, words.replace(" ", "-"), str(year)) for year, words in _years().items()}
    _add(graph, START, days, "day", True)
    _add(graph, START, months, "month first", True)
    _add(graph, "day", {"of": ("of",)}, "of")
    for state in ("day", "of"):
        _add(graph, state, months, "month")
    _add(graph, "month", years, "year")
    _add(graph, "month first", years, "year")
    _add(graph, "month first", days, "month day")
    _add(graph, "month day", years, "year")
    graph.accept("year")


def _number_sign(graph: Graph) -> None:
    _add(graph, START, {**_DIGITS, "minus": ("minus",), "point": ("point",)}, "sign", True)
    graph.accept("sign")


def _lot_sign(graph: Graph) -> None:
    _add(graph, START, {**_DIGITS, **_LETTERS, "dash": ("dash",)}, "sign", True)
    graph.accept("sign")


def _days() -> dict[str, tuple[str, ...]]:
    """Spoken days, with "3rd" and "3" beside "third"."""
    found: dict[str, tuple[str, ...]] = {}
    for day in range(1, 32):
        word = next((w for w, k in ORDINALS.items() if k == day), None)
        if word is None:
            tens = "twenty" if day < 30 else "thirty"
            word = f"{tens} {next(w for w, k in ORDINALS.items() if k == day % 10)}"
        ending = {1: "st", 2: "nd", 3: "rd"}.get(day % 10 if day not in (11, 12, 13) else 0, "th")
        said = _below_hundred(day)
        found[word] = (word, word.replace(" ", "-"), said, said.replace(" ", "-"), f"{day}{ending}", str(day))
    return found


def _years() -> dict[int, str]:
    return {year: f"twenty {_below_hundred(year % 100)}" for year in YEARS}


def _below_hundred(number: int) -> str:
    names = {v: k for k, v in {**TEENS, **TENS}.items()}
    digits = [w for w in _DIGITS if w not in ("oh", "niner")]
    if number < 10:
        return digits[number]
    return names[number] if number in names else f"{names[number - number % 10]} {digits[number % 10]}"


def _add(graph: Graph, state: str, words: Mapping[str, tuple[str, ...]], leads_to: str, first: bool = False) -> None:
    for word, ways in words.items():
        for way in ways:
            capital = way[0].upper() + way[1:]
            if first:
                graph.add(state, word, (way, capital), leads_to)
            else:
                written = tuple(f.format(w) for f in _FOLLOWS for w in (way, capital))
                graph.add(state, word, written, leads_to, first=False)
