"""Several tracks on one time line: every sample where it belongs, readable by two libraries, flat memory."""

from __future__ import annotations

import tracemalloc
import wave

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.errors import StorageError
from assistant.speaking import wav_writer
from assistant.speaking.soundtrack import ASSISTANT, TECHNICIAN, Soundtrack, mono

RATE_HZ = 16_000


def read(path) -> np.ndarray:
    return soundfile.read(path, dtype="int16", always_2d=True)[0]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("lines")


sounds = st.lists(
    st.tuples(st.integers(0, 30_000), st.integers(0, 9_000), st.integers(-32768, 32767), st.integers(0, 1)),
    max_size=8,
)


@settings(max_examples=30)
@given(sounds, st.lists(st.integers(0, 40_000), max_size=5))
def test_any_overlap_is_the_saturated_sum_of_all_sounds(folder, placed, stops):
    """Against a plain sum over one big array."""
    path = folder / "any.wav"
    line = Soundtrack(path)
    want = np.zeros((40_000, 2), dtype=np.int64)
    for start, length, level, channel in placed:
        line.place(np.full(length, level, dtype=np.int16), start / RATE_HZ, channel)
        want[start : start + length, channel] += level
    for stop in sorted(stops):
        line.advance_to(stop / RATE_HZ)
    line.advance_to(40_000 / RATE_HZ)
    line.close()
    assert np.array_equal(read(path), np.clip(want, -32768, 32767))


def test_the_header_is_the_same_to_two_independent_readers(tmp_path):
    path = tmp_path / "session.wav"
    line = Soundtrack(path)
    line.place(np.full(8_000, 100, dtype=np.int16), 1.0, ASSISTANT)
    line.place(np.full(8_000, -200, dtype=np.int16), 1.25, TECHNICIAN)
    line.close()
    info = soundfile.info(path)
    with wave.open(str(path)) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (2, 2, RATE_HZ)
        assert file.getnframes() == info.frames == round(1.75 * RATE_HZ)
        frames = np.frombuffer(file.readframes(file.getnframes()), dtype="<i2").reshape(-1, 2)
    assert (info.format, info.subtype, info.samplerate, info.channels) == ("WAV", "PCM_16", RATE_HZ, 2)
    assert np.array_equal(frames, read(path))
    assert frames[20_000].tolist() == [100, -200]


def test_a_run_that_ends_hard_leaves_a_readable_file(tmp_path):
    """The file is read while the line is still open: nothing is finished or flushed by us."""
    path = tmp_path / "session.wav"
    line = Soundtrack(path)
    line.place(np.full(RATE_HZ * 3, 7, dtype=np.int16), 0.0)
    line.advance_to(2.0)
    assert len(read(path)) == 2 * RATE_HZ
    line.close()


def test_mono_adds_both_sides(tmp_path):
    line = Soundtrack(tmp_path / "two.wav")
    line.place(np.full(40_000, 1000, dtype=np.int16), 0.0, ASSISTANT)
    line.place(np.full(40_000, 30_000, dtype=np.int16), 1.0, TECHNICIAN)
    line.place(np.full(1_000, 20_000, dtype=np.int16), 1.0, ASSISTANT)
    both = read(line.close()).astype(int)
    one = read(mono(tmp_path / "two.wav", tmp_path / "one.wav"))
    assert one.shape[1] == 1
    assert np.array_equal(one[:, 0], np.clip(both.sum(axis=1), -32768, 32767))


def test_what_is_written_cant_be_changed(tmp_path):
    line = Soundtrack(tmp_path / "a.wav")
    early = line.place(np.full(RATE_HZ, 5, dtype=np.int16), 0.0)
    line.advance_to(0.5)
    with pytest.raises(ValueError, match="already written"):
        line.place(np.ones(10, dtype=np.int16), 0.4)
    assert line.cut(early, 0.1) == pytest.approx(0.505)
    samples = read(line.close())
    assert (samples[: RATE_HZ // 2, 0] == 5).all() and len(samples) <= 0.51 * RATE_HZ


def test_a_cut_fades_and_leaves_silence(tmp_path):
    line = Soundtrack(tmp_path / "a.wav")
    sound = line.place(np.full(RATE_HZ, 10_000, dtype=np.int16), 0.0)
    assert line.cut(sound, 0.25) == pytest.approx(0.255)
    line.advance_to(1.0)
    samples = read(line.close())[:, 0]
    assert (samples[:4000] == 10_000).all()
    assert not samples[4080:].any()
    assert (np.diff(samples[4000:4080].astype(int)) <= 0).all()


@pytest.mark.parametrize("channel", [-1, 2])
def test_a_channel_that_isnt_there_is_refused(tmp_path, channel):
    with pytest.raises(ValueError, match="channel"):
        Soundtrack(tmp_path / "a.wav").place(np.ones(10, dtype=np.int16), 0.0, channel)


def test_a_file_grown_too_large_for_its_format_says_so_before_it_breaks(tmp_path, monkeypatch):
    monkeypatch.setattr(wav_writer, "MAX_BYTES", 100_000)
    line = Soundtrack(tmp_path / "a.wav")
    line.advance_to(1.0)
    with pytest.raises(StorageError, match="size a WAV file can have"):
        line.advance_to(5.0)
    assert len(read(tmp_path / "a.wav")) == RATE_HZ


def test_memory_stays_flat_over_an_hour_of_sound(tmp_path):
    clip = np.full(RATE_HZ, 50, dtype=np.int16)
    line = Soundtrack(tmp_path / "hour.wav")
    peaks = []
    for minute in range(60):
        tracemalloc.start()
        for second in range(60):
            line.place(clip, minute * 60 + second, second % 2)
        line.advance_to((minute + 1) * 60)
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    line.close()
    assert soundfile.info(tmp_path / "hour.wav").frames == 3600 * RATE_HZ
    assert max(peaks[30:]) < 1.5 * max(peaks[:5])
