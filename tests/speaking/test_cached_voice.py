"""Lines kept once rendered, in memory and on disk, and rendered ahead."""

from __future__ import annotations

import threading

import numpy as np
import pytest

from assistant.errors import VoiceError
from assistant.speaking.cached_voice import CachedVoice
from assistant.speaking.clip_cache import ClipCache
from assistant.speaking.fake_voice import FakeVoice


def test_a_line_is_rendered_once():
    inner = FakeVoice()
    with CachedVoice(inner) as voice:
        a, b = voice.render("Open the door."), voice.render("Open the door.")
    assert inner.rendered == ["Open the door."]
    assert np.array_equal(a.samples, b.samples) and (voice.hits, voice.misses) == (1, 1)


def test_rate_voice_and_volume_are_part_of_what_is_kept():
    inner = FakeVoice()
    with CachedVoice(inner) as voice:
        voice.render("Wait.")
        voice.settings = voice.settings.slower()
        voice.render("Wait.")
        voice.settings = voice.settings.louder()
        voice.render("Wait.")
    assert len(inner.rendered) == 3


def test_the_next_run_finds_the_clips_on_disk(tmp_path):
    with CachedVoice(FakeVoice(), folder=tmp_path / "clips") as voice:
        first = voice.render("Open the door.")
    inner = FakeVoice()
    with CachedVoice(inner, folder=tmp_path / "clips") as voice:
        assert voice.is_ready("Open the door.")
        assert np.array_equal(voice.render("Open the door.").samples, first.samples)
    assert inner.rendered == []


@pytest.mark.parametrize("damage", ["flip", "truncate", "empty", "odd", "swap"])
def test_a_damaged_entry_is_rendered_again_and_replaced(tmp_path, damage):
    with CachedVoice(FakeVoice(), folder=tmp_path) as voice:
        want = voice.render("Open the door.").samples
        voice.render("Something longer than the first.")
    files = sorted(tmp_path.glob("*.clip"), key=lambda p: p.stat().st_size)
    data = files[0].read_bytes()
    changed = {
        "flip": data[:500] + bytes([data[500] ^ 1]) + data[501:],
        "truncate": data[:400],
        "empty": b"",
        "odd": data[:-1],
        "swap": files[1].read_bytes(),  # a good entry under another's name
    }
    files[0].write_bytes(changed[damage])
    inner = FakeVoice()
    with CachedVoice(inner, folder=tmp_path) as voice:
        assert np.array_equal(voice.render("Open the door.").samples, want)
    assert inner.rendered == ["Open the door."]
    assert files[0].read_bytes() == data


def test_a_folder_that_cant_be_written_is_done_without(tmp_path):
    blocker = tmp_path / "file"
    blocker.write_text("not a folder")
    with CachedVoice(FakeVoice(), folder=blocker / "clips") as voice:
        assert voice.render("Open the door.").duration_s > 0


def test_a_disk_that_is_full_is_done_without(tmp_path, monkeypatch):
    from assistant.speaking import clip_cache

    def full(*_args, **_kwargs):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(clip_cache.os, "replace", full)
    with CachedVoice(FakeVoice(), folder=tmp_path) as voice:
        voice.render("Open the door.")
    assert list(tmp_path.iterdir()) == []


def test_memory_is_bounded():
    cache = ClipCache(memory_bytes=10_000)
    for i in range(100):
        cache.put(str(i), np.zeros(1000, dtype=np.int16))
    assert cache._held <= 10_000 and cache.get("99") is not None and cache.get("0") is None


def test_lines_are_rendered_ahead_in_the_background():
    inner = FakeVoice()
    lines = [f"Step {w}." for w in ("one", "two", "three")]
    with CachedVoice(inner) as voice:
        voice.prepare(lines)
        assert voice.wait_prepared(20)
        assert all(voice.is_ready(line) for line in lines)
        done = len(inner.rendered)
        for line in lines:
            voice.render(line)
        assert len(inner.rendered) == done == 3


def test_a_line_asked_for_waits_for_at_most_one_that_is_being_prepared():
    gate = threading.Event()
    started = threading.Event()

    class Slow(FakeVoice):
        def render(self, line_text):
            if line_text.startswith("Ahead"):
                started.set()
                gate.wait(20)
            return super().render(line_text)

    inner = Slow()
    with CachedVoice(inner) as voice:
        voice.prepare(["Ahead one.", "Ahead two.", "Ahead three."])
        assert started.wait(20)
        got = []
        asking = threading.Thread(target=lambda: got.append(voice.render("Now.")))
        asking.start()
        gate.set()
        asking.join(20)
        assert got
        assert voice.wait_prepared(20)


def test_a_line_that_fails_ahead_is_named_and_the_others_go_on():
    class Picky(FakeVoice):
        def render(self, line_text):
            if "bad" in line_text:
                raise VoiceError("can't say that")
            return super().render(line_text)

    with CachedVoice(Picky()) as voice:
        voice.prepare(["a bad line", "a good line"])
        assert voice.wait_prepared(20)
        assert voice.failed_ahead == ["a bad line"] and voice.is_ready("a good line")
        with pytest.raises(VoiceError):
            voice.render("a bad line")


def test_names_are_said_as_the_site_says_them_and_the_clip_keeps_the_written_line():
    inner = FakeVoice()
    with CachedVoice(inner, pronunciations={"Northmere": "north meer"}) as voice:
        clip = voice.render("Northmere, GB-2.")
    assert inner.rendered == ["north meer, G B two."]
    assert clip.text == "Northmere, GB-2."


def test_lines_of_another_language_can_pass_unshaped():
    inner = FakeVoice()
    with CachedVoice(inner, shape=False) as voice:
        voice.render("남은 시간 3 min")
    assert inner.rendered == ["남은 시간 3 min"]
