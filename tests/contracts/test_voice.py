"""One suite for everything behind the `Voice` port: the fake, the real synthesiser, and each with its
cache."""

from __future__ import annotations

import json
import threading

import numpy as np
import pytest

from assistant.errors import VoiceError
from assistant.speaking.cached_voice import CachedVoice
from assistant.speaking.fake_voice import FakeVoice
from assistant.speaking.pyttsx3_voice import Pyttsx3Voice
from assistant.speaking.voice import CLIP_RATE_HZ, VoiceSettings

MAKERS = {
    "fake": FakeVoice,
    "pyttsx3": Pyttsx3Voice,
    "cached fake": lambda: CachedVoice(FakeVoice()),
    "cached pyttsx3": lambda: CachedVoice(Pyttsx3Voice()),
}
LINE = "Wipe the work tray from left to right."


@pytest.fixture(params=MAKERS, scope="module")
def voice(request):
    made = MAKERS[request.param]()
    yield made
    made.close()


def test_a_line_becomes_int16_mono_at_the_clip_rate(voice):
    clip = voice.render(LINE)
    assert clip.samples.dtype == np.int16 and clip.samples.ndim == 1
    assert clip.rate_hz == CLIP_RATE_HZ
    assert clip.text == LINE
    assert 0.5 < clip.duration_s < 6
    assert np.abs(clip.samples.astype(int)).max() > 1000


def test_a_clip_cant_be_changed_by_who_holds_it(voice):
    with pytest.raises(ValueError):
        voice.render(LINE).samples[0] = 1


def test_the_same_line_gives_the_same_samples_whatever_came_between(voice):
    first = voice.render(LINE).samples.copy()
    voice.render("Something else, quite different.")
    assert np.array_equal(first, voice.render(LINE).samples)


def test_a_new_voice_of_the_same_kind_gives_the_same_samples(voice, request):
    other = MAKERS[request.node.callspec.params["voice"]]()
    try:
        assert np.array_equal(voice.render(LINE).samples, other.render(LINE).samples)
    finally:
        other.close()


def test_different_lines_sound_different(voice):
    a, b = voice.render("Open the outer door.").samples, voice.render("Close the inner door.").samples
    assert not (len(a) == len(b) and np.array_equal(a, b))


def test_a_longer_line_takes_longer(voice):
    assert voice.render(LINE + " " + LINE).duration_s > 1.6 * voice.render(LINE).duration_s


def test_slower_takes_longer_and_louder_is_louder(voice):
    before = voice.settings
    normal = voice.render(LINE)
    try:
        voice.settings = before.slower()
        slow = voice.render(LINE)
        voice.settings = before.quieter()
        quiet = voice.render(LINE)
    finally:
        voice.settings = before
    assert slow.duration_s > 1.05 * normal.duration_s
    assert quiet.samples.astype(float).std() < 0.95 * normal.samples.astype(float).std()
    assert np.array_equal(voice.render(LINE).samples, normal.samples)


@pytest.mark.parametrize("nothing", ["", "   ", "...", "\n"])
def test_an_empty_line_is_refused(voice, nothing):
    with pytest.raises(VoiceError, match="nothing to say"):
        voice.render(nothing)


def test_it_says_what_is_speaking_in_json_values(voice):
    said = voice.describe()
    assert json.loads(json.dumps(said)) == said
    assert {"engine", "version", "voice", "rate_wpm", "volume"} <= said.keys()


def test_threads_may_ask_at_once_and_each_gets_its_own_line(voice):
    lines = [f"Step {word}." for word in ("one", "two", "three", "four")]
    alone = {line: voice.render(line).samples for line in lines}
    got: dict[str, np.ndarray] = {}
    threads = [
        threading.Thread(target=lambda t=t: got.__setitem__(t, voice.render(t).samples)) for t in lines
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    assert all(np.array_equal(got[line], alone[line]) for line in lines)


@pytest.mark.parametrize("kind", MAKERS)
def test_a_closed_voice_refuses_and_closing_twice_is_harmless(kind):
    voice = MAKERS[kind]()
    voice.close()
    voice.close()
    with pytest.raises(VoiceError, match="closed"):
        voice.render(LINE)


def test_steps_of_rate_and_volume_stop_at_their_limits():
    settings = VoiceSettings()
    for _ in range(20):
        settings = settings.slower().louder()
    assert settings.slower() == settings and settings.louder() == settings
    for _ in range(40):
        settings = settings.faster().quieter()
    assert settings.faster() == settings and settings.quieter() == settings
    assert settings.volume > 0
