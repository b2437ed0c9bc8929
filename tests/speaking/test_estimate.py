"""The estimate of how long a line takes, against the packaged synthesiser itself."""

from __future__ import annotations

import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.speaking.estimate import seconds, syllables
from assistant.speaking.pyttsx3_voice import Pyttsx3Voice
from assistant.speaking.spoken_text import spoken
from assistant.speaking.voice import VoiceSettings

# None of these was used to fit the figures.
HELD_OUT = (
    "Close the outer door.",
    "Take a new wiper and fold it into quarters.",
    "Wipe the ceiling of the airlock in straight strokes that overlap.",
    "Enclosure GB-2 is ready for the light clean.",
    "The purge takes 7 min 30 s. Keep both doors shut.",
    "Rinse with sterile water, then wet the surface again.",
    "Contact time is over. The surface may dry now.",
    "You said negative. Nothing was changed.",
    "Is the pressure above 45 Pa?",
    "Place the used wipers in the yellow bag and seal it.",
    "A second person must confirm this step.",
    "Something went wrong? Say trouble.",
    "Turn each gauntlet and look at every finger.",
    "The agent stays wet here for two minutes, so wet it again after ninety seconds.",
)


@pytest.mark.parametrize("rate_wpm", [130, 150, 190])
def test_the_estimate_is_within_a_quarter_for_each_line_and_a_twelfth_for_all(rate_wpm):
    with Pyttsx3Voice(VoiceSettings(rate_wpm=rate_wpm)) as voice:
        forms = [spoken(line) for line in HELD_OUT]
        real = [voice.render(form).duration_s for form in forms]
    guess = [seconds(form, rate_wpm) for form in forms]
    for line, is_s, said_s in zip(HELD_OUT, real, guess, strict=True):
        assert said_s == pytest.approx(is_s, rel=0.25), line
    assert sum(guess) == pytest.approx(sum(real), rel=1 / 12)


@pytest.mark.parametrize("rate_wpm", [120, 140, 180])
def test_korean_lines_are_within_a_quarter(rate_wpm):
    lines = (
        "바깥 문을 여세요.",
        "안쪽 문을 닫고 오케이라고 말하세요.",
        "남은 시간은 사 분입니다. 기다리세요.",
    )
    with Pyttsx3Voice(VoiceSettings(voice="ko+klatt2", rate_wpm=rate_wpm)) as voice:
        for line in lines:
            assert seconds(line, rate_wpm) == pytest.approx(voice.render(line).duration_s, rel=0.25), line


# Syllable counts from the pronunciation of these words in any English dictionary (from memory).
@pytest.mark.parametrize(
    ("word", "count"),
    [("door", 1), ("open", 2), ("surface", 2), ("wiped", 1), ("wetted", 2), ("enclosure", 3), ("gauntlet", 2),
     ("minutes", 2), ("trouble", 2), ("again", 2), ("sterile", 2), ("area", 3), ("7", 2), ("확인", 2)],
)  # fmt: skip
def test_syllables_of_common_words(word, count):
    assert syllables(word) == count


@given(st.text(max_size=80), st.integers(60, 300))
def test_any_text_has_a_time_that_isnt_negative(text, rate_wpm):
    assert seconds(text, rate_wpm) >= 0
    assert (seconds(text, rate_wpm) > 0) == any(ch.isalnum() for ch in text)


@given(st.lists(st.sampled_from(["wet", "the", "door", "again", "surface"]), min_size=1, max_size=20))
def test_a_word_more_never_takes_less_time(words):
    assert seconds(" ".join(words)) > seconds(" ".join(words[:-1]))


def test_a_rate_that_isnt_positive_is_refused():
    with pytest.raises(ValueError):
        seconds("Wait.", 0)


def test_it_needs_nothing_but_the_standard_library():
    code = (
        "import sys; import assistant.speaking.estimate;"
        "print([m for m in ('numpy', 'soxr', 'soundfile', 'click', 'pydantic') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
