"""The assistant's lines are heard by a recogniser that knows nothing of our text: words come back, tones
don't."""

from __future__ import annotations

import re
from difflib import SequenceMatcher

import pytest

from assistant.speaking.fake_voice import FakeVoice
from assistant.speaking.pyttsx3_voice import Pyttsx3Voice

LINES = (
    "Open the outer door.",
    "Close the inner door and say confirm.",
    "The work area has four minutes left.",
    "Wait. The airlock is still purging.",
    "Stop here. Make safe. Call your supervisor.",
    "Was the surface still visibly wet?",
)


def words_of(text: str) -> list[str]:
    return re.findall(r"[a-z']+", text.lower())


@pytest.fixture(scope="module")
def decode():
    """PocketSphinx, its bundled English model, any of the lines' 33 words in any order: chance is 3 % a
    word."""
    from pocketsphinx import Decoder

    decoder = Decoder(samprate=16_000, loglevel="FATAL", lm=None)
    vocabulary = sorted({word for line in LINES for word in words_of(line)})
    decoder.add_jsgf_string("loop", f"#JSGF V1.0;\ngrammar g;\npublic <s> = ( {' | '.join(vocabulary)} )+;\n")
    decoder.activate_search("loop")

    def run(clip) -> list[str]:
        assert clip.rate_hz == 16_000
        decoder.start_utt()
        decoder.process_raw(clip.samples.tobytes(), False, True)
        decoder.end_utt()
        return words_of(decoder.hyp().hypstr) if decoder.hyp() else []

    return run


def recall(heard: list[list[str]], said: tuple[str, ...]) -> float:
    """Part of the said words that were heard in their order."""
    matched = sum(
        sum(
            block.size
            for block in SequenceMatcher(None, words_of(line), words, autojunk=False).get_matching_blocks()
        )
        for line, words in zip(said, heard, strict=True)
    )
    return matched / sum(len(words_of(line)) for line in said)


def test_most_words_of_the_assistants_lines_are_recognised(decode):
    with Pyttsx3Voice() as voice:
        heard = [decode(voice.render(line)) for line in LINES]
    own = recall(heard, LINES)
    of_others = recall(heard, LINES[1:] + LINES[:1])
    assert own >= 0.55, heard
    assert of_others <= own / 2


def test_the_same_check_finds_nothing_in_tones(decode):
    voice = FakeVoice()
    assert recall([decode(voice.render(line)) for line in LINES], LINES) <= 0.1
