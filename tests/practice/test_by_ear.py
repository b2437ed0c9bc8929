"""An operator that hears by ear is given what a recogniser makes of the sound, and nothing else."""

from __future__ import annotations

import numpy as np
from click.testing import CliRunner

from assistant.errors import UsageError
from assistant.practice.by_ear import AssistantEar, ByEar, _runs, word_errors, words_of
from assistant.practice.soak_cli import soak
from assistant.speaking.synth import render

SENTENCES = ("Say confirm when done.", "Wipe the left wall.", "Open the outer door.", "2 minutes to wait for the left wall.")


def sound(text):
    return render(text, "en-us", 50, 150)


def test_known_sentences_are_heard_as_written_and_numbers_are_filled_in():
    ear = AssistantEar(SENTENCES, sound, seed=1, snr_db=25.0)
    assert ear.hears("Wipe the left wall. Say confirm when done.") == "Wipe the left wall. Say confirm when done."
    assert "7 minutes" in ear.hears("7 minutes to wait for the left wall.")
    assert ear.lines == 3 and ear.word_error < 0.2


def test_what_is_not_in_the_sound_is_not_heard():
    ear = AssistantEar(SENTENCES, lambda text: (np.zeros(16_000, np.int16), 16_000), seed=1)
    told = []

    class Told:
        def hear(self, text, ended_ms, role=""):
            told.append(text)

    ByEar(Told(), ear).hear("Open the outer door.", 1000)
    assert told != ["Open the outer door."] and ear.errors > 0


def test_word_errors_are_counted_as_the_edit_distance():
    # kitten, sitting: the textbook example of Levenshtein's distance, letters for words
    assert word_errors(list("kitten"), list("sitting")) == 3
    assert word_errors([], ["a"]) == word_errors(["a"], []) == 1 and word_errors(["a"], ["a"]) == 0
    assert _runs(words_of("Wait 25 minutes, 7 faces.")) == ["25", "7"]


def test_by_ear_needs_sound():
    found = CliRunner().invoke(soak, ["--sessions", "0", "--by-ear"])
    assert isinstance(found.exception, UsageError)
