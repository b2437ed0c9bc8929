"""Length of spoken text: monotone in the words, in the range of ordinary speech."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from assistant.calc.speech_length import WORDS_PER_S, sentence_ms, sentences, speech_ms

words = st.lists(
    st.sampled_from(["wipe", "the", "window", "slowly", "disinfectant"]), min_size=1, max_size=40
)


@given(words, words)
def test_more_words_take_longer(a, b):
    assert sentence_ms(" ".join(a + b)) > sentence_ms(" ".join(a))


def test_an_ordinary_sentence_is_said_at_an_ordinary_rate():
    # Conversational English runs at 2 to 4 words a second (from memory, common figure).
    text = "Open the outer door and put the closed packs into the airlock."
    rate = len(text.split()) / (sentence_ms(text) / 1000)
    assert 2 <= rate <= 4


def test_sentences_are_counted_with_their_pauses():
    assert sentences("One thing. Another? Yes!") == ["One thing.", "Another?", "Yes!"]
    assert speech_ms("One thing. Another.") > sentence_ms("One thing Another")
    assert speech_ms("") == 0


def test_korean_is_counted_by_syllables():
    assert 2000 <= sentence_ms("뒷벽을 소독제로 닦으세요.") <= 2600  # 11 syllables at 5 a second


def test_a_number_is_said_two_digits_to_a_word_and_letters_make_no_number():
    # From memory: years and counts are said in pairs, "twenty four, fifty six, seventy eight".
    assert sentence_ms("245678") == round(3 / WORDS_PER_S * 1000)
    assert sentence_ms("by") == round(1 / WORDS_PER_S * 1000)
