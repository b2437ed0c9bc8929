"""The speech model's word pieces. What it should write is the model package's own (moonshine-voice): its table, read here."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.errors import ModelError
from assistant.hearing.reading import speech_model
from assistant.hearing.reading.word_pieces import END, SPACE, UNKNOWN, WordPieces
from assistant.hearing.vocabulary.lexicon import bundled_dictionary_path, dictionary

FOLDER = speech_model.find()
pytestmark = pytest.mark.skipif(FOLDER is None, reason="the attention model isn't installed here")
PIECES = WordPieces.read(FOLDER / "tokenizer.bin") if FOLDER else None
WORDS = sorted(dictionary(bundled_dictionary_path()))[::997]


def test_the_table_is_whole():
    assert len(PIECES.pieces) == 32_768       # the vocabulary that Jeffries et al. 2024 state for the model
    assert PIECES.pieces[1:3] == [b"<s>", b"</s>"]


@given(st.lists(st.sampled_from(WORDS), min_size=1, max_size=6))
def test_a_text_comes_back_from_its_pieces(words):
    text = " ".join(words)
    numbers = PIECES.encode(text)
    assert UNKNOWN not in numbers
    assert PIECES.text([*numbers, END]) == text


def test_common_words_are_one_piece_and_a_rarer_one_is_its_usual_parts():
    assert [PIECES.pieces[n].decode() for n in PIECES.encode("Stop now.")] == [f"{SPACE}Stop", f"{SPACE}now", "."]
    assert [PIECES.pieces[n].decode() for n in PIECES.encode("Forty-five")] == [f"{SPACE}Fort", "y", "-", "five"]   # as it writes it


def test_what_follows_another_word_may_begin_without_a_space():
    assert PIECES.encode("five", begins=False) == PIECES.encode("-five", begins=False)[1:]
    assert PIECES.encode(" five", begins=False) == PIECES.encode("five")


@pytest.mark.parametrize("harm", [lambda b: b[:-3], lambda b: b"", lambda b: b[:200]])
def test_a_damaged_table_is_said(tmp_path, harm):
    path = tmp_path / "tokenizer.bin"
    path.write_bytes(harm((FOLDER / "tokenizer.bin").read_bytes()))
    with pytest.raises(ModelError) as caught:
        WordPieces.read(path)
    assert str(path) in str(caught.value)
