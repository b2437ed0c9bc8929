"""The direct way to the synthesiser: any voice as samples, the same each time, and clear refusals."""

from __future__ import annotations

import ctypes
import hashlib
import subprocess
import sys
import threading

import numpy as np
import pytest

from assistant.errors import VoiceError
from assistant.speaking.espeak_library import library_and_data
from assistant.speaking.synth import render

VOICES = ("en-us", "en-us+f3", "en-gb+m3", "en-us+whisper", "ko+klatt2")


@pytest.mark.parametrize("voice", VOICES)
def test_the_same_text_and_voice_give_the_same_samples_whatever_came_between(voice):
    first, rate_hz = render("confirm", voice)
    render("Something else, in another voice.", "en-us+f5", pitch=80, speed_wpm=200)
    again, _ = render("confirm", voice)
    assert first.dtype == np.int16 and first.ndim == 1
    assert rate_hz == 22_050  # the rate of the library's own voices
    assert np.array_equal(first, again)


def test_another_process_gives_the_same_samples():
    code = (
        "import hashlib; from assistant.speaking.synth import render;"
        "print(hashlib.sha256(render('Say again.', 'en-us+f3')[0].tobytes()).hexdigest())"
    )
    digests = {
        subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
        for _ in range(2)
    }
    here = hashlib.sha256(render("Say again.", "en-us+f3")[0].tobytes()).hexdigest()
    assert {d.strip() for d in digests} == {here}


def test_somebody_else_holding_the_library_changes_nothing():
    before, _ = render("confirm", "en-us+f3")
    held = ctypes.CDLL(library_and_data()[0], mode=ctypes.RTLD_GLOBAL)
    render("Something else.")
    assert np.array_equal(render("confirm", "en-us+f3")[0], before)
    del held


def test_voices_differ():
    sounds = [render("Open the outer door.", v)[0].tobytes() for v in ("en-us", "en-us+f3", "en-gb+m3")]
    assert len(set(sounds)) == 3


def test_faster_is_shorter():
    slow, _ = render("Wipe the work tray.", speed_wpm=110)
    fast, _ = render("Wipe the work tray.", speed_wpm=200)
    assert len(slow) > 1.5 * len(fast)


def test_british_english_is_the_same_by_both_of_its_names():
    assert np.array_equal(render("door", "en-gb+m3")[0], render("door", "en+m3")[0])


@pytest.mark.parametrize(
    ("args", "message"),
    [
        ({"text": " . "}, "nothing to say"),
        ({"text": "a", "voice": "zz"}, "no voice 'zz'"),
        ({"text": "a", "voice": "en-us+nope"}, "no voice variant 'nope'"),
        ({"text": "a", "voice": "../../etc"}, "no voice"),
        ({"text": "a", "pitch": 100}, "pitch 100 is out of range"),
        ({"text": "a", "speed_wpm": 20}, "speed_wpm 20 is out of range"),
    ],
)
def test_what_cant_be_spoken_is_refused_in_words(args, message):
    with pytest.raises(VoiceError, match=message):
        render(**args)


def test_threads_take_turns():
    want = {t: render(t)[0] for t in ("one", "two", "three")}
    got: dict[str, np.ndarray] = {}
    threads = [threading.Thread(target=lambda t=t: got.__setitem__(t, render(t)[0])) for t in want]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(20)
    assert all(np.array_equal(got[t], want[t]) for t in want)
