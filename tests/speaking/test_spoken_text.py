"""Written lines become words that can be said."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.speaking.spoken_text import digit_by_digit, duration_words, number_words, pronounced, spoken


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("Keep 70 % of it.", "Keep seventy percent of it."),
        ("Read -0.02 in. w.c. now.", "Read minus zero point zero two inches water column now."),
        ("Add 729.2 mL of stock.", "Add seven hundred twenty nine point two millilitres of stock."),
        ("Add 1 mL.", "Add one millilitre."),
        ("Enclosure GB-2, then PI-1.", "Enclosure G B two, then P I one."),
        ("Wait 80 s.", "Wait one minute twenty seconds."),
        ("Wait 10 min.", "Wait ten minutes."),
        ("4:05 left.", "four minutes five seconds left."),
        ("12–15 ACH", "twelve to fifteen air changes an hour"),
        ("Lot A47-B9.", "Lot ay four seven dash B nine."),
        ("HEPA filter (top).", "heppa filter, top."),
        ("The USP chapter.", "The U S P chapter."),
        ("1,200 m3/h", "one thousand two hundred cubic metres an hour"),
        ("Step 12 of 40.", "Step twelve of forty."),
        ("At -250 Pa.", "At minus two hundred fifty pascals."),
        ("Say A or B. I wait.", "Say A or B. I wait."),
        ("Open the outer door.", "Open the outer door."),
        ("Line\x1b[31m one\n", "Line [31m one"),
    ],
)
def test_units_numbers_codes_and_times(written, said):
    assert spoken(written) == said


@given(st.text(alphabet=st.characters(codec="ascii"), max_size=60))
def test_any_line_gives_printable_words(text):
    said = spoken(text)
    assert said == said.strip()
    assert not any(ord(ch) < 32 or ord(ch) == 127 for ch in said)


@given(st.integers(0, 999_999))
def test_number_words_can_be_read_back_to_the_number(n):
    teens = "ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen"
    names = f"zero one two three four five six seven eight nine {teens}".split()
    ones = {word: value for value, word in enumerate(names)}
    tens = {
        w: i * 10 for i, w in enumerate("twenty thirty forty fifty sixty seventy eighty ninety".split(), 2)
    }
    total = part = 0
    for word in number_words(str(n)).split():
        if word == "thousand":
            total, part = part * 1000, 0
        elif word == "hundred":
            part *= 100
        else:
            part += ones.get(word, tens.get(word, 0))
    assert total + part == n


@given(st.floats(0, 36_000, allow_nan=False))
def test_a_duration_is_never_said_shorter_than_it_is(duration_s):
    words = duration_words(duration_s).split()
    units = {"hour": 3600, "minute": 60, "second": 1}
    small = {number_words(str(i)): i for i in range(60)}
    total, number = 0, []
    for word in words:
        if word.rstrip("s") in units:
            total += small[" ".join(number)] * units[word.rstrip("s")]
            number = []
        else:
            number.append(word)
    assert duration_s - 0.001 <= total < duration_s + 1


@pytest.mark.parametrize(
    ("seconds", "said"),
    [(0, "zero seconds"), (1, "one second"), (60, "one minute"), (80.2, "one minute twenty one seconds"),
     (3600, "one hour"), (7325, "two hours two minutes five seconds")],
)  # fmt: skip
def test_durations(seconds, said):
    assert duration_words(seconds) == said


def test_codes_digit_by_digit():
    assert digit_by_digit("103") == "one zero three"
    assert digit_by_digit("B7-2") == "B seven dash two"


def test_names_are_replaced_whole_longest_first_and_once():
    names = {"Tern": "turn", "Tern Hill": "turn hill", "turn": "never twice"}
    assert pronounced("Tern Hill and tern, not lantern.", names) == "turn hill and turn, not lantern."
