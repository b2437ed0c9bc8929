"""The chain on real synthesised sound, with the embedded engine."""

from __future__ import annotations

import numpy as np
import pytest

from assistant.hearing.engines.choosing import open_engine
from assistant.hearing.engines.fake import FakeEngine
from assistant.hearing.listener import Listener
from assistant.hearing.vocabulary.packs import load_pack
from assistant.language import vocabulary as words
from tests.hearing.sounds import RATE, mixed, run, spoken_wave


@pytest.fixture(scope="module")
def engine():
    opened = open_engine("en", engine="pocketsphinx")
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def pcm() -> bytes:
    return mixed([spoken_wave("repeat"), spoken_wave("liquid spill"), spoken_wave("dry surface")])[0]


def heard(engine, pcm: bytes, block: int, expect: str | None = None, active=frozenset({"repeat", "spill"})) -> list:
    listener = Listener(engine, load_pack("en"))
    listener.set_active(active, expect)
    return run(listener, pcm, block)


def test_commands_are_heard_and_one_that_is_not_active_is_named_but_refused(engine, pcm):
    found = heard(engine, pcm, 3200)
    assert [(u.word, u.accepted, u.reason) for u in found] == [
        ("repeat", True, ""), ("spill", True, ""), ("dry_surface", False, "not now")]


def test_the_size_of_the_blocks_changes_nothing(engine, pcm):
    first = heard(engine, pcm, 3200)
    assert heard(engine, pcm, 642) == first
    assert heard(engine, pcm, 333) == first          # odd lengths are put together again
    assert heard(engine, pcm, len(pcm)) == first


def test_a_decision_falls_within_a_third_of_a_second_of_audio_after_the_word(engine):
    pcm, places = mixed([spoken_wave("dry surface"), spoken_wave("repeat")])
    found = heard(engine, pcm, 320, active=words.ALL)
    for u, (_, end) in zip(found, places, strict=True):
        assert u.accepted and u.decided_s - end < 0.36


def test_sentences_with_a_command_inside_are_refused(engine):
    lines = ("please confirm the booking with her", "we had to repeat it twice", "do not stop now we are nearly there",
             "i told them to go back and wait")
    pcm, _ = mixed([spoken_wave(line) for line in lines])
    assert [u for u in heard(engine, pcm, 3200, active=words.ALL) if u.accepted] == []


def test_numbers_are_heard_when_asked_for_and_only_then(engine):
    pcm, _ = mixed([spoken_wave("four five"), spoken_wave("repeat")])
    asked = heard(engine, pcm, 3200, "number", words.ALL)
    assert [(u.value.text if u.value else u.word) for u in asked if u.accepted] == ["45", "repeat"]
    assert all(u.value is None for u in heard(engine, pcm, 3200, None, words.ALL))


def test_an_unknown_kind_of_value_is_a_mistake_of_the_caller(engine):
    with pytest.raises(ValueError, match="expect"):
        Listener(engine, load_pack("en")).set_active(frozenset(), "colour")


def test_a_fan_that_starts_is_background_within_a_few_seconds():
    rng = np.random.default_rng(2)
    quiet, fan = rng.normal(0, 3, 2 * RATE), rng.normal(0, 400, 12 * RATE)
    word = spoken_wave("repeat", level=12_000.0)
    fan[10 * RATE:10 * RATE + len(word)] += word
    pcm = np.clip(np.concatenate([quiet, fan]), -32768, 32767).astype("<i2").tobytes()
    listener = Listener(FakeEngine(["repeat"]), load_pack("en"))
    listener.set_active(words.ALL)
    found = run(listener, pcm)
    assert [u.word for u in found if u.accepted] == ["repeat"]
    assert 11.8 < next(u for u in found if u.accepted).start_s < 12.2


def test_hours_of_silence_keep_nothing():
    listener = Listener(FakeEngine(), load_pack("en"))
    block = np.random.default_rng(1).normal(0, 3, RATE).astype("<i2").tobytes()
    for _ in range(60):
        assert listener.feed(block) == []
    held = sum(b.nbytes for b in listener._raw._blocks)
    for _ in range(120):
        listener.feed(block)
    assert sum(b.nbytes for b in listener._raw._blocks) <= held


def test_ten_minutes_without_a_pause_are_one_refusal_and_bounded_memory():
    rng = np.random.default_rng(9)
    listener = Listener(FakeEngine(["affirmative"] * 9999), load_pack("en"))
    listener.set_active(words.ALL)
    listener.feed(rng.normal(0, 3, RATE).astype("<i2").tobytes())
    found = []
    word = spoken_wave("the quick brown fox jumped over the lazy dog and went on and on", level=9000.0)
    for _ in range(600 * RATE // len(word)):
        found += listener.feed(word.astype("<i2").tobytes())
        assert len(listener._cleaned) < 5 * RATE * 2
    assert not any(u.accepted and u.end_s - u.start_s > 2.6 for u in found)
