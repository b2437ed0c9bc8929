"""Values said one sign at a time."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.hearing.engines.fake import FakeEngine
from assistant.hearing.listener import Listener
from assistant.hearing.values import parsing as values
from assistant.hearing.values.spelling import Spelling
from assistant.hearing.vocabulary.packs import load_pack
from tests.hearing.sounds import mixed, run, spoken_wave

# ICAO Annex 10 volume II, 5.2.1.3, written out apart from the package's own table.
ALPHABET = ("alpha bravo charlie delta echo foxtrot golf hotel india juliet kilo lima mike november oscar papa quebec romeo "
            "sierra tango uniform victor whiskey x-ray yankee zulu").split()
ONES = "zero one two three four five six seven eight nine".split()


def word(kind: str, sign: str) -> str:
    if sign.isdigit():
        return ONES[int(sign)]
    if kind == "number":
        return {"-": "minus", ".": "point"}[sign]
    return "dash" if sign == "-" else ALPHABET[ord(sign) - 65]


def spelt(kind: str, text: str) -> str | None:
    spelling = Spelling(kind)
    for sign in text:
        heard = values.parse(spelling.expect, word(kind, sign))
        assert spelling.add(heard.text)
    return spelling.value()


@given(st.integers(0, 999), st.text("0123456789", max_size=3), st.booleans())
def test_numbers_with_sign_and_point_come_back(whole, fraction, negative):
    text = ("-" if negative else "") + str(whole) + ("." + fraction if fraction else "")
    assert spelt("number", text) == text


@given(st.text("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789", min_size=1, max_size=10))
def test_lots_come_back_twins_too(code):
    assert spelt("lot", code) == code


def test_the_same_letter_twice_is_two_letters():
    assert spelt("lot", "AA") == "AA"
    assert values.parse("lot", "alpha alpha").text == "AA"


@pytest.mark.parametrize(("kind", "before", "sign"), [("number", "", "."), ("number", "1", "-"), ("number", "1.2", "."),
                                                      ("number", "", "A"), ("lot", "", "-"), ("lot", "A-", "-"), ("lot", "A", ".")])
def test_a_sign_that_cannot_stand_there_changes_nothing(kind, before, sign):
    spelling = Spelling(kind)
    for c in before:
        assert spelling.add(c)
    assert not spelling.add(sign)
    assert spelling.text == before


@pytest.mark.parametrize(("kind", "text"), [("number", ""), ("number", "-"), ("number", "4."), ("lot", "A-")])
def test_what_is_not_finished_is_no_value(kind, text):
    spelling = Spelling(kind)
    for c in text:
        spelling.add(c)
    assert spelling.value() is None


def test_a_wrong_sign_is_taken_back_alone():
    spelling = Spelling("number")
    for c in "-4":
        spelling.add(c)
    spelling.undo()
    spelling.add("5")
    assert spelling.value() == "-5"


def test_no_spelling_of_dates():
    with pytest.raises(ValueError, match="date"):
        Spelling("date")


def test_a_refused_command_may_be_the_sign_that_was_asked_for():
    """A value is read back before it counts; a command that can't be answered now must not swallow it."""
    class Hears(FakeEngine):
        def decode(self, pcm, expect=None, loud_s=0.0, raw=b""):
            from assistant.hearing.engines.recogniser import Hypothesis

            return Hypothesis("repeat", "repeat", 0.9, True, "minus", {})

    pcm, _ = mixed([spoken_wave("minus")])
    listener = Listener(Hears(), load_pack("en"))
    listener.set_active(frozenset(), "number sign")
    assert [(u.value.text, u.accepted) for u in run(listener, pcm)] == [("-", True)]
    listener = Listener(Hears(), load_pack("en"))
    listener.set_active(frozenset({"repeat"}), "number sign")
    assert [(u.value, u.word) for u in run(listener, pcm)] == [(None, "repeat")]
