"""Spoken values to typed ones. The speller below is written apart from the parser and goes the other way."""

from __future__ import annotations

import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.hearing.values import parsing as values
from assistant.hearing.values.grammar import KINDS, jsgf, words

ONES = "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen " \
       "eighteen nineteen".split()
TENS = dict(zip(range(20, 100, 10), "twenty thirty forty fifty sixty seventy eighty ninety".split(), strict=False))
# ICAO Annex 10 volume II, 5.2.1.3, the spelling alphabet (spelt as English dictionaries do: alpha, juliet).
ALPHABET = ("alpha bravo charlie delta echo foxtrot golf hotel india juliet kilo lima mike november oscar papa quebec romeo "
            "sierra tango uniform victor whiskey x-ray yankee zulu").split()
MONTHS = "january february march april may june july august september october november december".split()


def spell(n: int) -> str:
    if n < 20:
        return ONES[n]
    if n < 100:
        return TENS[n - n % 10] + (f" {ONES[n % 10]}" if n % 10 else "")
    return f"{ONES[n // 100]} hundred" + (f" {spell(n % 100)}" if n % 100 else "")


@given(st.integers(0, 999), st.text("0123456789", max_size=3), st.booleans())
def test_every_number_said_whole_comes_back(whole, fraction, negative):
    said = ("minus " if negative else "") + spell(whole)
    if fraction:
        said += " point " + " ".join(ONES[int(d)] for d in fraction)
    value = values.parse("number", said)
    assert value.text == ("-" if negative else "") + str(whole) + ("." + fraction if fraction else "")
    assert value.number == pytest.approx(float(value.text))


@given(st.lists(st.integers(0, 9), min_size=1, max_size=6))
def test_digits_one_by_one_come_back(digits):
    assert values.parse("number", " ".join(ONES[d] for d in digits)).text == str(int("".join(map(str, digits))))


@pytest.mark.parametrize(("said", "text"), [
    ("minus zero point zero two", "-0.02"), ("forty five", "45"), ("one oh three", "103"), ("one hundred and five", "105"),
    ("zero point five zero", "0.50"), ("niner", "9"), ("plus seven", "7"),
])
def test_readings_as_they_are_said(said, text):
    assert values.parse("number", said).text == text


@pytest.mark.parametrize("said", ["", "point", "five point", "minus", "twenty zero", "five twenty", "hundred", "zero hundred",
                                  "one hundred and", "five minus", "point five point", "forty eleven", "banana"])
def test_what_is_not_one_number_is_not_guessed(said):
    assert values.parse("number", said) is None


@given(st.text("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789", min_size=1, max_size=8))
def test_every_lot_code_comes_back_and_its_read_back_says_the_same(code):
    said = [ONES[int(c)] if c.isdigit() else ALPHABET[ord(c) - 65] for c in code]
    value = values.parse("lot", " ".join(said))
    assert value.text == code
    assert values.parse("lot", " ".join(value.parts)) == value


@pytest.mark.parametrize("said", ["alpha dash", "dash one", "alpha dash dash one", "alpha twelve", "alpha apple"])
def test_a_lot_that_could_mean_two_things_is_refused(said):
    assert values.parse("lot", said) is None


@given(st.dates(datetime.date(2010, 1, 1), datetime.date(2099, 12, 31)))
def test_every_date_comes_back(day):
    said = f"{spell(day.day)} of {MONTHS[day.month - 1]} twenty {spell(day.year - 2000)}"
    assert values.parse("date", said).text == day.isoformat()


@pytest.mark.parametrize(("said", "iso"), [
    ("third of march twenty twenty seven", "2027-03-03"), ("march third twenty twenty seven", "2027-03-03"),
    ("february twenty twenty eight", "2028-02-29"), ("thirty first january twenty thirty", "2030-01-31"),
    ("march twenty twenty seven", "2027-03-31"),
])
def test_dates_as_they_are_said(said, iso):
    assert values.parse("date", said).text == iso


@pytest.mark.parametrize("said", ["thirtieth of february twenty twenty seven", "march", "twenty twenty seven", "may june twenty thirty"])
def test_no_such_date(said):
    assert values.parse("date", said) is None


@pytest.mark.parametrize("kind", KINDS)
def test_the_grammars_are_accepted_by_the_engine(kind):
    import pocketsphinx

    decoder = pocketsphinx.Decoder(lm=None, loglevel="FATAL")
    decoder.add_jsgf_string(kind, jsgf(kind, "en"))   # raises for a wrong grammar or an unknown word
    assert words("en") >= {"zero", "minus", "point", "alpha", "x-ray", "december", "thirtieth"}
