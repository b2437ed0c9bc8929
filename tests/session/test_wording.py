"""The assistant's own lines: the same keys and placeholders in each language, short sentences, everything used."""

from __future__ import annotations

from pathlib import Path
from string import Formatter

import pytest

import assistant.session as package
from assistant.calc.speech_length import sentence_ms, sentences
from assistant.language import sentences as spoken_by_it
from assistant.language import vocabulary as w
from assistant.language.sentences import LANGUAGES, SPOKEN, duration, listed, say
from assistant.procedure.model.plan import REACHES
from assistant.session.modes import MODES

LONGEST_S = 6  # of one sentence; this project's own measure for what is taken in while working
FILLED = {
    "title": "light clean", "enclosure": "glove box GB-2", "ask": "Is it?", "claim": "the back wall is wet",
    "first": "torn glove", "names": "back wall and left wall", "name": "left work tray", "time": "1 minute 20 seconds", "step": "Wipe it.",
    "words": "confirm, negative", "choices": "1: back wall.", "n": "3", "value": "minus 40 Pa", "limit": "minus 20",
    "person": "Kim", "reason": "We are paused.", "tell": "Tell them.", "position": "open", "device": "headset",
    "head": "back wall", "last": "left wall", "unit": "Pa",
}
SOURCES = "\n".join(p.read_text(encoding="utf-8") for p in sorted(Path(package.__file__).parent.rglob("*.py")))


def _fields(text: str) -> set[str]:
    return {name for _, name, _, _ in Formatter().parse(text) if name}


def test_every_language_has_the_same_keys_and_commands():
    english = LANGUAGES["en"]
    for language, lines in LANGUAGES.items():
        assert set(lines) == set(english), language
        assert set(SPOKEN[language]) == set(SPOKEN["en"]) <= w.ALL


@pytest.mark.parametrize("language", [x for x in LANGUAGES if x != "en"])
def test_every_line_has_the_same_placeholders_in_each_language(language: str):
    odd = {k for k, text in LANGUAGES["en"].items() if _fields(text) != _fields(LANGUAGES[language][k])}
    assert not odd


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_sentence_takes_longer_than_a_breath(language: str):
    for key in LANGUAGES[language]:
        text = say(language, key, **{k: v for k, v in FILLED.items() if k not in SPOKEN[language]})
        assert text.strip() and "{" not in text, key
        for sentence in sentences(text):
            assert sentence_ms(sentence) <= LONGEST_S * 1000, (key, sentence)


# Keys put together from a part that varies: how each family is written in the sources, and its keys.
FAMILIES = {
    'f"mode_{': {f"mode_{mode}" for mode in MODES},
    'f"remedy_{': {"remedy_patch", "remedy_smaller", "remedy_stop", "remedy_go_on"},
    'f"remedy_is_{': {"remedy_is_patch", "remedy_is_smaller", "remedy_is_stop"},
    'f"hands_{': {"hands_room", "hands_gauntlets", "hands_window"},
    'f"recover_hands_{': {"recover_hands_room", "recover_hands_gauntlets", "recover_hands_window"},
    'f"bridge_move_{': {f"bridge_move_{a}_{b}" for a in REACHES for b in REACHES if a != b},
    'f"bridge_{verb}': {"bridge_open", "bridge_close"}, 'f"claim_{verb}': {"claim_open", "claim_close"},
    'f"spell_{step.value_kind}': {"spell_number", "spell_lot", "spell_date"},
    'f"say_{step.value_kind}': {"say_lot", "say_date"}, 'f"{said}_on"': {"brief_on", "full_on"},
    'f"{key}_warn"': {"limit_opening_warn", "limit_step_warn"},
    'f"{key}_missed"': {"limit_opening_missed", "limit_step_missed"},
    "turn.words(verdict)": {"complete", "incomplete", "stopped", "left"}, "in (w.BRIEF, w.FULL) else said": {"slower", "louder"},
}


def test_every_line_is_used_and_every_mode_has_its_words():
    families: set[str] = set()
    for written, keys in FAMILIES.items():
        assert written in SOURCES, written
        families |= keys
    own = Path(spoken_by_it.__file__).read_text(encoding="utf-8")
    unused = {k for k in LANGUAGES["en"] if k not in families and f'"{k}"' not in SOURCES + own}
    assert not unused
    assert families <= set(LANGUAGES["en"])


def test_durations_round_up_and_never_say_less_than_is_left():
    assert [duration("en", ms) for ms in (0, 1, 1_000, 1_001, 59_001, 60_000, 80_000)] == [
        "0 seconds", "1 second", "1 second", "2 seconds", "1 minute", "1 minute", "1 minute 20 seconds"]
    assert duration("ko", 80_000) == "1분 20초" and duration("en", -5) == "0 seconds"


def test_names_are_joined_as_spoken():
    assert listed("en", []) == "" and listed("en", ["a"]) == "a"
    assert listed("en", ["a", "b", "c"]) == "a, b and c"
