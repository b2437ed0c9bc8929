"""Spoken values as the speech model may write them: whatever the graph lets through is a value, and every value is in it."""

from __future__ import annotations

import random
from functools import cache

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.hearing.reading import speech_model
from assistant.hearing.reading.reading import START
from assistant.hearing.reading.word_pieces import WordPieces
from assistant.hearing.values import letters, numbers
from assistant.hearing.values import parsing as values
from assistant.hearing.values.graph import value_graphs

FOLDER = speech_model.find()
pytestmark = pytest.mark.skipif(FOLDER is None, reason="the attention model isn't installed here")
GRAPHS = value_graphs(WordPieces.read(FOLDER / "tokenizer.bin")) if FOLDER else {}
NOT_IN_EVERY_MONTH = {"twenty ninth", "thirtieth", "thirty first"}


@cache
def choices(graph, state: str) -> list[tuple[str, str]]:
    """(word, next state) in a state."""
    found, open_places = [], [graph.states[state]] if state in graph.states else []
    while open_places:
        place = open_places.pop()
        found += place.ends
        open_places += place.following.values()
    return sorted(set(found))


@pytest.mark.parametrize("kind", values.KINDS)
@given(seed=st.integers(0, 10**9))
def test_every_way_through_is_one_value(kind, seed):
    rng, state, said = random.Random(seed), START, []
    while True:
        ways = choices(GRAPHS[kind], state)
        if state in GRAPHS[kind].accepting and (not ways or rng.random() < 0.3 or len(said) > 12):
            break
        word, state = rng.choice(ways)
        said += [word] if word else []
    if kind != "date" or not NOT_IN_EVERY_MONTH & set(said):
        assert values.parse(kind, " ".join(said)) is not None


def accepts(kind: str, spoken: list[str]) -> bool:
    """Whether these words lead through the graph; a word of the graph may be two spoken ones ("twenty third")."""
    graph, places = GRAPHS[kind], {(START, 0)}
    seen = set()
    while places:
        state, at = places.pop()
        if (state, at) in seen:
            continue
        seen.add((state, at))
        if at == len(spoken) and state in graph.accepting:
            return True
        for word, following in choices(graph, state):
            parts = word.split()
            if spoken[at:at + len(parts)] == parts:
                places.add((following, at + len(parts)))
    return False


@given(st.integers(0, 9999), st.booleans(), st.none() | st.integers(0, 999))
def test_every_number_said_sign_by_sign_is_in_it(whole, minus, fraction):
    text = ("-" if minus else "") + str(whole) + ("" if fraction is None else f".{fraction}")
    assert accepts("number", list(numbers.parts(text)))


@given(st.text("ABCDEFGHIJKLMNOPQRSTUVWXYZ", min_size=1, max_size=4), st.text("0123456789", max_size=6))
def test_every_lot_of_letters_and_digits_is_in_it(first, rest):
    assert accepts("lot", list(letters.parts(first + rest)))


@pytest.mark.parametrize("spoken", [
    "one hundred and three", "forty five", "minus zero point zero two", "nineteen point five", "two hundred forty"])
def test_readings_as_people_say_them_are_in_it(spoken):
    assert accepts("number", spoken.split())


@pytest.mark.parametrize("spoken", ["third of march twenty twenty seven", "march twenty third twenty thirty one",
                                    "june twenty twenty eight"])
def test_dates_as_people_say_them_are_in_it(spoken):
    assert accepts("date", spoken.split())
