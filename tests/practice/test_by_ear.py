"""An operator that hears by ear is given what a recogniser makes of the sound, and nothing else."""

from __future__ import annotations

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from assistant.errors import UsageError
from assistant.speaking.synth import render
from tests.bench.practice.by_ear import MOST_REPEATS, AssistantEar, ByEar
from tests.bench.practice.known_lines import Heard, KnownLines, pattern, word_errors, words_of
from tests.bench.practice.soak_cli import soak
from tests.bench.practice.word_pairs import bigrams

SENTENCES = ("Say confirm when done.", "Wipe the left wall.", "Open the outer door.", "2 minutes to wait for the left wall.")


def sound(text):
    return render(text, "en-us", 50, 150)


class Told:
    """An operator that keeps what it is told, and when it would ask again."""

    def __init__(self):
        self.heard, self.asked = [], []

    def hear(self, text, ended_ms, role=""):
        self.heard.append(text)

    def asks_again(self, at):
        self.asked.append(at)


def test_known_sentences_are_heard_as_written_and_numbers_are_filled_in():
    ear = AssistantEar(SENTENCES, sound, seed=1, snr_db=25.0)
    line = "Wipe the left wall. Say confirm when done."
    assert ear.hears(line) == Heard(line, True)
    assert "7 minutes" in ear.hears("7 minutes to wait for the left wall.").text
    assert ear.lines == 3 and ear.word_error < 0.2 and ear.classes["right"] == 3


def test_what_is_not_in_the_sound_is_not_heard():
    ear = AssistantEar(SENTENCES, lambda text: (np.zeros(16_000, np.int16), 16_000), seed=1)
    told = Told()
    ByEar(told, ear).hear("Open the outer door.", 1000)
    assert told.heard != ["Open the outer door."] and ear.errors > 0 and ear.classes["right"] == 0


def test_word_errors_are_counted_as_the_edit_distance():
    # kitten, sitting: the textbook example of Levenshtein's distance, letters for words
    assert word_errors(list("kitten"), list("sitting")) == 3
    assert word_errors([], ["a"]) == word_errors(["a"], []) == 1 and word_errors(["a"], ["a"]) == 0
    assert pattern(words_of("Wait 25 minutes, 7 faces.")) == ("wait", "#", "minutes", "#", "faces")


KNOWN = KnownLines((
    "Wipe the left wall.", "Wipe the right wall.", "Open the outer door.", "I understood -6 5 Pa.", "I understood kilo 5 1 7.",
    "I understood 2027-11-30.", "2 minutes to wait for the left wall.", "Not now.", "Nothing is wet now.",
))


@pytest.mark.parametrize(("heard", "text"), [
    ("wipe the left wall", "Wipe the left wall."),
    ("open outer door", "Open the outer door."),  # a word lost
    ("wipe the wall", ""),  # which of the two can't be told
    ("the meeting is at half past two", ""),  # nothing known is near
    ("i understood minus seven two pascals", "I understood -72 Pa."),
    ("i understood delta three nine zero", "I understood delta 390."),
    ("i understood two thousand twenty eight zero two dash seventeen", "I understood 2028-02-17."),
    ("twenty five minutes to wait for the left wall", "25 minutes to wait for the left wall."),
    ("you can say cancel trouble", "You can say: cancel trouble."),
])
def test_what_was_heard_is_taken_for_the_nearest_known_sentence_with_what_it_leaves_open(heard, text):
    assert KNOWN.nearest(heard.split()) == Heard(text, bool(text))


@pytest.mark.parametrize("heard", ["i understood minus pascals", "i understood two thousand twenty seven thirteen dash thirty", ""])
def test_a_value_read_back_that_was_not_made_out_is_never_guessed(heard):
    assert not KNOWN.nearest(heard.split()).sure


@given(st.integers(0, 99), st.integers(1, 12), st.integers(1, 31), st.integers(-999, 999))
def test_whatever_is_read_back_comes_out_of_its_words_again(year, month, day, number):
    # the words are the voice's own (speaking.spoken_text); the way back is this room's
    date = f"I understood 20{year:02d}-{month:02d}-{day:02d}."
    if year:
        assert KNOWN.nearest(words_of(date)).text == date
    digits = " ".join(str(abs(number)))
    line = f"I understood -{digits} Pa."
    assert KNOWN.nearest(words_of(line)).text.replace(" ", "") == line.replace(" ", "")


def test_who_is_not_sure_asks_again_and_after_some_times_makes_do():
    class Ear:
        def hears(self, text):
            return Heard("Say confirm.", False)

    told = Told()
    by_ear = ByEar(told, Ear())
    for at in range(MOST_REPEATS + 1):
        by_ear.hear("Something. Say confirm.", at)
    assert told.asked == list(range(MOST_REPEATS)) and told.heard == ["Say confirm."]


def test_word_pairs_add_up_to_one_with_what_is_left_for_backing_off():
    # ARPA's format: the seen pairs' part plus the back-off weight times the unseen words' part is one (Katz, 1987)
    model = bigrams([words_of(s) for s in SENTENCES])
    ones, twos = {}, {}
    for row in model.splitlines():
        parts = row.split()
        if len(parts) == 3 and row.count(".") == 2:
            ones[parts[1]] = (10 ** float(parts[0]), 10 ** float(parts[2]))
        elif len(parts) == 3 and row.count(".") == 1:
            twos.setdefault(parts[1], {})[parts[2]] = 10 ** float(parts[0])
    for word, follow in twos.items():
        unseen = sum(p for w, (p, _) in ones.items() if w not in follow and w != "<s>")
        assert abs(sum(follow.values()) + ones[word][1] * unseen - 1.0) < 0.01


def test_by_ear_needs_sound():
    found = CliRunner().invoke(soak, ["--sessions", "0", "--by-ear"])
    assert isinstance(found.exception, UsageError)
