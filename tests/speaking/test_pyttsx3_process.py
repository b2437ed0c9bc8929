"""The real voice's own process: it may print, hang, die or serve one line only, and the caller stays well."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time

import numpy as np
import pytest

from assistant.errors import VoiceError
from assistant.speaking.espeak_library import driver_lookup, library_and_data
from assistant.speaking.pyttsx3_voice import Pyttsx3Voice
from assistant.speaking.voice import VoiceSettings

LINE = "Open the outer door."


def fake_worker(body: str) -> list[str]:
    """A command that behaves like a worker whose answers are made by `body`."""
    return [
        sys.executable,
        "-c",
        "import sys, json, time, os\nprint('{\"ready\": true}', flush=True)\n" + body,
    ]


def test_nothing_reaches_standard_output():
    code = (
        "from assistant.speaking.pyttsx3_voice import Pyttsx3Voice\n"
        f"with Pyttsx3Voice() as v: print(v.render({LINE!r}).rate_hz)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert done.stdout == "16000\n" and done.returncode == 0
    assert done.stderr == ""


def test_a_hanging_synthesiser_is_ended_and_named_and_the_next_line_gets_a_new_process():
    with Pyttsx3Voice(line_timeout_s=0.3, command=fake_worker("time.sleep(600)")) as voice:
        start = time.monotonic()
        with pytest.raises(VoiceError, match="no answer within 0.3 s") as caught:
            voice.render(LINE)
        assert time.monotonic() - start < 30
        assert caught.value.try_next
        voice._command = Pyttsx3Voice()._command
        voice._line_timeout_s = 20.0
        assert voice.render(LINE).duration_s > 0.5


def test_a_process_that_died_between_lines_is_replaced_without_a_word():
    with Pyttsx3Voice() as voice:
        first = voice.render(LINE)
        voice._worker.process.kill()
        voice._worker.process.wait()
        assert np.array_equal(voice.render(LINE).samples, first.samples)


def test_a_process_that_always_dies_is_an_error_with_its_last_words():
    body = "sys.stdin.readline(); sys.stderr.write('library is broken\\n'); sys.exit(3)"
    with (
        Pyttsx3Voice(command=fake_worker(body)) as voice,
        pytest.raises(VoiceError, match="library is broken"),
    ):
        voice.render(LINE)


def test_a_process_that_cant_be_started_is_an_error():
    with Pyttsx3Voice(command=["/nowhere/python"]) as voice, pytest.raises(VoiceError, match="can't start"):
        voice.render(LINE)


def test_a_failure_inside_the_driver_is_passed_on():
    body = "sys.stdin.readline(); print(json.dumps({'error': 'no such voice'}), flush=True)"
    with Pyttsx3Voice(command=fake_worker(body)) as voice, pytest.raises(VoiceError, match="no such voice"):
        voice.render(LINE)


def test_a_file_that_cant_be_written_is_reported_and_not_waited_for(monkeypatch, tmp_path):
    """The driver raises in a call-back, where nobody would hear of it."""
    from assistant.speaking import pyttsx3_voice

    monkeypatch.setattr(pyttsx3_voice, "_work_folder", lambda: tmp_path)
    with Pyttsx3Voice() as voice:
        voice.render(LINE)
        (tmp_path / "line.wav").mkdir()  # a folder where the file should go
        monkeypatch.setattr(pyttsx3_voice.Path, "unlink", lambda self, missing_ok=False: None)
        start = time.monotonic()
        with pytest.raises(VoiceError, match="(?i)error saving"):
            voice.render(LINE)
        assert time.monotonic() - start < pyttsx3_voice.LINE_TIMEOUT_S


@pytest.mark.skipif(not hasattr(os, "fork"), reason="there is only the other way here")
def test_without_fork_each_line_has_a_fresh_process_and_the_same_sound(monkeypatch):
    with Pyttsx3Voice() as voice:
        want = [voice.render(t).samples for t in (LINE, "Wait.", LINE)]
    monkeypatch.setenv("GAUNTLET_VOICE_NO_FORK", "1")
    with Pyttsx3Voice() as voice:
        got, processes = [], set()
        for text in (LINE, "Wait.", LINE):
            voice.warm_up()
            processes.add(voice._worker.process.pid)
            got.append(voice.render(text).samples)
    assert all(np.array_equal(a, b) for a, b in zip(got, want, strict=True))
    assert len(processes) == 3


def test_the_process_ends_with_its_caller_and_leaves_no_folder():
    voice = Pyttsx3Voice()
    voice.render(LINE)
    process, folder = voice._worker.process, voice._folder
    assert folder.exists()
    voice.close()
    assert process.poll() is not None and not folder.exists()


def test_the_process_ends_when_its_caller_is_killed():
    code = (
        "import time\nfrom assistant.speaking.pyttsx3_voice import Pyttsx3Voice\n"
        f"v = Pyttsx3Voice(); v.render({LINE!r}); print(v._worker.process.pid, v._folder, flush=True)\n"
        "time.sleep(60)"
    )
    caller = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True)
    said = caller.stdout.readline().split()
    worker = int(said[0])
    caller.kill()
    caller.wait()
    caller.stdout.close()
    shutil.rmtree(said[1], ignore_errors=True)  # a killed run leaves its folder to a later run's sweep
    for _ in range(500):
        try:
            os.kill(worker, 0)
        except ProcessLookupError:
            return
        state = _state(worker)
        if state in ("Z", ""):
            return  # ended; its new parent hasn't asked for its exit code yet
        time.sleep(0.01)
    os.kill(worker, signal.SIGKILL)
    pytest.fail("the voice's process outlived its caller")


def _state(pid: int) -> str:
    try:
        with open(f"/proc/{pid}/stat", encoding="ascii") as file:
            return file.read().rsplit(")", 1)[1].split()[0]
    except OSError:
        return ""


def test_the_library_comes_from_the_package_and_not_from_the_system():
    code = (
        "import os\n"
        "from assistant.speaking.espeak_library import prepare_for_pyttsx3, library_and_data\n"
        "prepare_for_pyttsx3()\n"
        "from pyttsx3.drivers import _espeak\n"
        "maps = open('/proc/self/maps').read()\n"
        "mapped = {os.path.realpath(row.split()[-1]) for row in maps.splitlines() if 'espeak' in row}\n"
        "print(mapped == {os.path.realpath(library_and_data()[0])})"
    )
    if not os.path.exists("/proc/self/maps"):
        pytest.skip("not measured here: no list of mapped libraries")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert done.stdout == "True\n", done.stderr


def test_on_other_systems_the_drivers_look_up_finds_the_packaged_library(monkeypatch):
    """macOS and Windows aren't tried here: the wrap itself is, with the paths that the driver uses there."""
    import ctypes

    library, _ = library_and_data()
    with driver_lookup(always=True):
        mac = ctypes.cdll.LoadLibrary("/opt/homebrew/lib/libespeak-ng.1.dylib")
        windows = ctypes.cdll.LoadLibrary(r"C:\Program Files\eSpeak NG\libespeak-ng.dll")
        assert mac._name == windows._name == library
        with pytest.raises(OSError):
            ctypes.cdll.LoadLibrary("libnothing-of-this-name.so")
    with pytest.raises(OSError):
        ctypes.cdll.LoadLibrary("/opt/homebrew/lib/libespeak-ng.1.dylib")


@pytest.mark.parametrize("name", ["en-us", "en-us+f3", "en-us+whisper", "ko+klatt2"])
def test_every_kind_of_voice_says_a_line_the_same_each_time(name):
    """Breathy and Klatt voices carry noise."""
    with Pyttsx3Voice(VoiceSettings(voice=name)) as voice:
        assert len({voice.render("Wait. 기다리세요.").samples.tobytes() for _ in range(15)}) == 1


@pytest.mark.parametrize("name", ["zz", "en-us+nope"])
def test_an_unknown_voice_is_named(name):
    with Pyttsx3Voice(VoiceSettings(voice=name)) as voice, pytest.raises(VoiceError, match="no voice"):
        voice.render(LINE)


@pytest.mark.full
def test_five_hundred_lines_come_out_alike():
    """The driver once let 1 line in 100 out at the library's default rate."""
    with Pyttsx3Voice() as voice:
        assert len({voice.render("Contact complete. Wipe dry.").samples.tobytes() for _ in range(500)}) == 1
