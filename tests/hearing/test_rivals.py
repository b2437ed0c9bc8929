"""A word that confirms has to win against phrases that sound like it."""

from __future__ import annotations

import pytest

from assistant.hearing.engines.choosing import open_engine
from assistant.hearing.listener import Listener
from assistant.hearing.vocabulary.packs import load_pack
from assistant.language import vocabulary as words
from tests.bench.hearing.sentences import NEARLY_CONFIRMING
from tests.hearing.sounds import mixed, run, spoken_wave


@pytest.fixture(scope="module")
def engine():
    opened = open_engine("en", engine="pocketsphinx")
    yield opened
    opened.close()


def heard(engine, lines) -> list:
    listener = Listener(engine, load_pack("en"))
    listener.set_active(words.ALL)
    return run(listener, mixed([spoken_wave(line) for line in lines])[0])


def test_phrases_near_a_confirmation_confirm_nothing(engine):
    lines = ("affirmation", "informative", "alternative", "affirmed", "a native", "affirming it", "formative", "lucrative",
             "confirm", "i confirm", "writing now", "waiting now", "wallet again", "all set again", "all dry again")
    found = heard(engine, lines)
    assert len(found) >= len(lines)
    assert [u.said for u in found if u.accepted and u.word in words.CONFIRMING] == []


def test_the_confirmations_themselves_still_pass(engine):
    found = heard(engine, ("affirmative", "wiping now", "all wet again"))
    assert [u.word for u in found if u.accepted] == ["confirm", "started", "rewetted"]
    assert all("rival" in u.scores for u in found)


def test_rivals_are_known_words_and_never_a_command_and_none_is_held_out():
    pack = load_pack("en")
    assert set(pack.rivals) == set(words.CONFIRMING)
    phrases = {r for rs in pack.rivals.values() for r in rs}
    assert all(pack.word_of(r) is None for r in phrases)
    assert not phrases & set(NEARLY_CONFIRMING["report"])
    assert not set(NEARLY_CONFIRMING["tune"]) & set(NEARLY_CONFIRMING["report"])
