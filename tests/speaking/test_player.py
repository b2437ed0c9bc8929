"""Lines and chimes one after the other, stopped at once; and the failure line, ready before anything
fails."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile

from assistant.errors import VoiceError
from assistant.speaking import failure_line
from assistant.speaking.chimes import chime
from assistant.speaking.failure_line import FailureLine
from assistant.speaking.fake_voice import FakeVoice
from assistant.speaking.player import GAP_S, Player
from assistant.speaking.silent_sink import SilentSink
from assistant.speaking.wav_sink import WavSink


@pytest.fixture
def player():
    return Player(FakeVoice(), SilentSink())


def test_sounds_follow_one_another_with_a_gap(player):
    tick, line = player.chime("listening"), player.say("Open the outer door.")
    assert tick.start_s == 0.0
    assert line.start_s == pytest.approx(tick.end_s + GAP_S, abs=1e-4)
    assert player.free_s() == line.end_s and player.busy()
    player.sink.advance_to(line.end_s)
    assert not player.busy() and player.free_s() == player.sink.now_s()


def test_after_silence_a_line_starts_at_once(player):
    player.sink.advance_to(5.0)
    assert player.say("Wait.").start_s == 5.0


def test_a_line_may_be_asked_for_later(player):
    assert player.say("Wait.", start_s=3.0).start_s == 3.0


def test_stop_cuts_what_sounds_and_what_waits_and_names_both(player):
    player.say("Wipe the whole work tray from left to right.")
    player.say("Then say confirm.")
    player.sink.advance_to(0.3)
    cut = player.stop()
    assert [s.text for s in cut] == ["Wipe the whole work tray from left to right.", "Then say confirm."]
    assert all(s.interrupted for s in cut) and cut[0].end_s <= 0.35
    player.sink.advance_to(0.35)
    assert not player.busy()
    assert player.say("Stopped.").start_s == pytest.approx(0.35, abs=0.001)


def test_slower_and_louder_hold_for_the_next_line(player):
    before = player.say("Open the outer door.")
    player.slower()
    after = player.say("Open the outer door.")
    assert after.end_s - after.start_s > before.end_s - before.start_s
    player.louder()
    assert player.voice.settings.volume > FakeVoice().settings.volume


def test_the_failure_line_needs_no_voice_once_it_is_there(tmp_path):
    voice = FakeVoice()
    line = FailureLine(voice)
    voice.close()
    sink = WavSink(tmp_path / "out.wav")
    talking = sink.play(np.full(160_000, 500, dtype=np.int16), 16_000)
    sink.advance_to(1.0)
    handle = line.play(sink)
    sink.advance_to(handle.end_s + 0.1)
    sink.close()
    assert talking.interrupted
    heard, _ = soundfile.read(tmp_path / "out.wav", dtype="int16")
    at = round(handle.start_s * 16_000)
    assert np.array_equal(heard[at : at + len(line.clip.samples)], line.clip.samples)
    assert np.array_equal(heard[16_100 : 16_000 + len(chime("alarm"))], chime("alarm")[100:])


def test_without_a_failure_line_nothing_begins():
    class Mute(FakeVoice):
        def render(self, line_text):
            raise VoiceError("no sound")

    with pytest.raises(VoiceError):
        FailureLine(Mute())


def test_the_failure_line_says_what_to_do():
    assert failure_line.TEXT == "The record can't be written. Stop here. Make safe. Call your supervisor."
