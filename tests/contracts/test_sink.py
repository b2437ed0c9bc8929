"""One suite for everything behind the `Sink` port. The headset runs on a stand-in for PortAudio: no test
machine is sure to have a sound card; what only a real one shows (latency, unplugging) is untested here."""

from __future__ import annotations

import contextlib
import errno
import json
import os
from pathlib import Path

import numpy as np
import pytest
import soundfile

from assistant.errors import SoundDeviceError, StorageError
from assistant.speaking.headset_sink import HeadsetSink
from assistant.speaking.silent_sink import SilentSink
from assistant.speaking.soundtrack import Soundtrack
from assistant.speaking.wav_sink import WavSink
from tests.contracts.fake_portaudio import LATENCY_S, FakePortAudio

RATE_HZ = 16_000
BLOCK_S = 0.02


class Bench:
    """A sink, a way to let time pass, and what was heard (None where nothing can be)."""

    def __init__(self, kind: str, folder: Path) -> None:
        self.kind = kind
        self.epoch_s = 0.0
        if kind == "silent":
            self.sink = SilentSink()
        elif kind == "wav":
            self.sink = WavSink(folder / "out.wav")
        elif kind == "wav on a shared line":
            self.line = Soundtrack(folder / "out.wav")
            self.sink = WavSink(self.line)
        else:
            self.audio = FakePortAudio()
            self.epoch_s = 100.0
            self.sink = HeadsetSink(backend=self.audio, clock=self.audio.clock)
        self.path = folder / "out.wav"

    def advance(self, to_s: float) -> None:
        if self.kind == "headset":
            self.audio.pump(to_s)
        else:
            self.sink.advance_to(to_s)

    def heard(self) -> np.ndarray | None:
        """Everything that came out, in device time for the headset; closes the sink."""
        self.sink.close()
        if self.kind == "silent":
            return None
        if self.kind == "headset":
            return np.concatenate(self.audio.heard)
        if self.kind == "wav on a shared line":
            self.line.close()
        samples, _ = soundfile.read(self.path, dtype="int16", always_2d=True)
        return samples[:, 0]


KINDS = ("silent", "wav", "wav on a shared line", "headset")


@pytest.fixture(params=KINDS)
def bench(request, tmp_path):
    made = Bench(request.param, tmp_path)
    yield made
    made.sink.close()


def tone(duration_s: float = 1.0, level: int = 8000, rate_hz: int = RATE_HZ) -> np.ndarray:
    return np.full(int(duration_s * rate_hz), level, dtype=np.int16)


def last_sound_s(samples: np.ndarray) -> float:
    loud = np.flatnonzero(samples)
    return (loud[-1] + 1) / RATE_HZ if loud.size else 0.0


def test_a_sound_ends_after_its_length(bench):
    handle = bench.sink.play(tone(0.5), RATE_HZ)
    assert not handle.done()
    assert handle.end_s - handle.start_s == pytest.approx(0.5, abs=1e-3)
    bench.advance(0.4)
    assert not handle.done()
    bench.advance(0.7)
    assert handle.done() and not handle.interrupted


def test_every_sample_comes_out_unchanged_and_in_order(bench):
    ramp = np.arange(1, 8001, dtype=np.int16)
    bench.sink.play(ramp, RATE_HZ)
    bench.advance(1.0)
    heard = bench.heard()
    if heard is not None:
        loud = np.flatnonzero(heard)
        assert np.array_equal(heard[loud[0] : loud[0] + 8000], ramp) and loud.size == 8000


def test_it_starts_when_it_was_asked_to(bench):
    start_s = bench.epoch_s + 0.5
    handle = bench.sink.play(tone(0.2), RATE_HZ, start_s)
    bench.advance(1.0)
    assert handle.start_s == pytest.approx(start_s, abs=1 / RATE_HZ)
    heard = bench.heard()
    if heard is not None:
        device_s = LATENCY_S if bench.kind == "headset" else 0.0
        assert np.flatnonzero(heard)[0] / RATE_HZ == pytest.approx(0.5 - device_s, abs=2 / RATE_HZ)


def test_a_start_in_the_past_means_now(bench):
    bench.advance(1.0)
    handle = bench.sink.play(tone(0.2), RATE_HZ, bench.epoch_s + 0.2)
    assert handle.start_s >= bench.epoch_s + 1.0


@pytest.mark.parametrize("stop_s", [0.1, 0.333, 0.9])
def test_a_stopped_sound_is_silent_within_50_ms_and_stays_so(bench, stop_s):
    handle = bench.sink.play(tone(2.0), RATE_HZ)
    bench.advance(stop_s)
    stopped_s = bench.sink.now_s()
    handle.stop()
    bench.advance(2.5)
    assert handle.done() and handle.interrupted
    assert handle.end_s - stopped_s <= 0.05
    heard = bench.heard()
    if heard is not None:
        assert stop_s - 0.03 <= last_sound_s(heard) <= stopped_s - bench.epoch_s + 0.05


def test_a_sound_stopped_before_it_begins_is_never_heard(bench):
    handle = bench.sink.play(tone(0.5), RATE_HZ, bench.epoch_s + 1.0)
    handle.stop()
    bench.advance(2.0)
    assert handle.done() and handle.interrupted
    heard = bench.heard()
    assert heard is None or not heard.any()


def test_stopping_after_the_end_or_twice_changes_nothing(bench):
    handle = bench.sink.play(tone(0.3), RATE_HZ)
    bench.advance(0.6)
    end_s = handle.end_s
    handle.stop()
    handle.stop()
    assert not handle.interrupted and handle.end_s == end_s


def test_stop_all_silences_what_sounds_and_what_waits(bench):
    handles = [bench.sink.play(tone(1.0), RATE_HZ), bench.sink.play(tone(1.0), RATE_HZ, bench.epoch_s + 1.5)]
    bench.advance(0.4)
    bench.sink.stop_all()
    bench.advance(3.0)
    assert all(h.done() and h.interrupted for h in handles)
    heard = bench.heard()
    assert heard is None or last_sound_s(heard) <= 0.47


def test_sounds_at_once_are_added_and_never_wrap_around(bench):
    bench.sink.play(tone(0.3, 30_000), RATE_HZ)
    bench.sink.play(tone(0.3, 30_000), RATE_HZ)
    bench.advance(0.6)
    heard = bench.heard()
    if heard is not None:
        assert heard.max() == 32767 and heard.min() >= 0


@pytest.mark.parametrize("rate_hz", [8_000, 22_050, 48_000])
def test_another_rate_is_resampled_to_the_same_length(bench, rate_hz):
    handle = bench.sink.play(tone(0.5, rate_hz=rate_hz), rate_hz)
    assert handle.end_s - handle.start_s == pytest.approx(0.5, abs=0.002)


@pytest.mark.parametrize("rate_hz", [0, -16_000])
def test_a_rate_that_isnt_one_is_refused(bench, rate_hz):
    with pytest.raises(ValueError, match="rate"):
        bench.sink.play(tone(), rate_hz)


@pytest.mark.parametrize(
    "samples", [np.zeros(10), np.zeros((10, 2), dtype=np.int16)], ids=["float", "stereo"]
)
def test_samples_that_arent_int16_mono_are_refused(bench, samples):
    with pytest.raises(ValueError, match="int16 mono"):
        bench.sink.play(samples, RATE_HZ)


def test_an_empty_sound_is_done_at_once(bench):
    handle = bench.sink.play(tone(0.0), RATE_HZ)
    bench.advance(0.1)
    assert handle.done()


def test_it_says_what_is_playing_in_json_values(bench):
    said = bench.sink.describe()
    assert json.loads(json.dumps(said)) == said
    assert {"sink", "rate_hz", "latency_s"} <= said.keys()


def test_closing_twice_is_harmless(bench):
    bench.sink.play(tone(), RATE_HZ)
    bench.sink.close()
    bench.sink.close()


# Faults that only some sinks can meet


def test_an_unplugged_headset_ends_its_sounds_and_refuses_new_ones(tmp_path):
    bench = Bench("headset", tmp_path)
    handle = bench.sink.play(tone(5.0), RATE_HZ)
    bench.advance(0.5)
    bench.audio.unplugged = True
    bench.advance(2.0)
    assert bench.sink.lost()
    assert handle.done() and handle.interrupted
    with pytest.raises(SoundDeviceError, match="headset is gone") as caught:
        bench.sink.play(tone(), RATE_HZ)
    assert "keys" in caught.value.format_message()


def test_a_headset_at_another_rate_gets_resampled_sound():
    audio = FakePortAudio(refuses_rates=(16_000,))
    sink = HeadsetSink(backend=audio, clock=audio.clock)
    assert sink.rate_hz == 48_000
    sink.play(tone(0.5), RATE_HZ)
    audio.pump(1.0)
    assert np.count_nonzero(np.concatenate(audio.heard)) == pytest.approx(24_000, abs=50)


def test_no_headset_is_a_plain_error():
    audio = FakePortAudio(no_device=True)
    with pytest.raises(SoundDeviceError) as caught:
        HeadsetSink(backend=audio, clock=audio.clock)
    assert "assistant devices" in caught.value.format_message()


def test_a_missing_portaudio_names_the_package(monkeypatch):
    import builtins

    real = builtins.__import__

    def without(name, *args, **kwargs):
        if name == "sounddevice":
            raise OSError("PortAudio library not found")
        return real(name, *args, **kwargs)

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(SoundDeviceError, match="libportaudio2"):
        HeadsetSink()


def test_a_folder_that_isnt_there_or_cant_be_written_is_a_plain_error(tmp_path):
    with pytest.raises(StorageError, match="can't be written"):
        WavSink(tmp_path / "nowhere" / "out.wav")
    locked = tmp_path / "locked"
    locked.mkdir()
    locked.chmod(0o500)
    if os.access(locked, os.W_OK):
        pytest.skip("this user may write everywhere")
    with pytest.raises(StorageError, match="can't be written"):
        WavSink(locked / "out.wav")


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="needs a device that is always full")
def test_a_full_disk_from_the_start_is_a_plain_error():
    with pytest.raises(StorageError, match="(?i)no space"):
        WavSink(Path("/dev/full"))


def test_a_disk_that_fills_up_leaves_a_readable_file(tmp_path, monkeypatch):
    """The block that doesn't fit raises; what was written before can be read."""
    bench = Bench("wav", tmp_path)
    bench.sink.play(tone(3.0), RATE_HZ)
    bench.advance(1.0)
    writer = bench.sink.soundtrack._file

    def full(data):
        writer._file.write(bytes(data)[:1000])  # the part that still fitted
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(writer, "_put", full)
    with pytest.raises(StorageError, match="(?i)no space"):
        bench.advance(2.0)
    samples, rate_hz = soundfile.read(bench.path, dtype="int16")
    assert rate_hz == RATE_HZ and len(samples) == RATE_HZ and samples.all()
    with contextlib.suppress(StorageError):
        bench.sink.close()
    assert len(soundfile.read(bench.path)[0]) == RATE_HZ
