"""Values by what was read and by their phones."""

from __future__ import annotations

import pytest

from assistant.hearing.values import grammar as value_grammar
from assistant.hearing.values.reader import ALSO_SAID, WORDS, Likeliest
from assistant.hearing.vocabulary.lexicon import bundled_dictionary_path, dictionary, pronounce
from tests.hearing.test_reading_engine import engine, reads


def test_every_word_of_a_value_can_be_said():
    known = dictionary(bundled_dictionary_path())
    for word in value_grammar.words("en") | {w for listed in WORDS.values() for w in listed}:
        assert pronounce(word, known, ALSO_SAID)


@reads
@pytest.mark.parametrize(("found", "heard", "words"), [
    (None, "four five", ""), (Likeliest("four five", "45", 3.0), "", "four five"), (Likeliest("four five", "45", 2.9), "", ""),
    (Likeliest("four five", "45", 0.1), "forty five", "four five"), (Likeliest("four five", "45", 2.9), "four nine", "")])
def test_a_value_little_ahead_counts_only_where_pocketsphinx_hears_the_same(monkeypatch, found, heard, words):
    monkeypatch.setattr(engine()._values, "likeliest", lambda sound, expect: found)
    monkeypatch.setattr(engine()._compare, "value", lambda pcm, expect: heard)
    assert engine()._value(None, b"", "number") == words


