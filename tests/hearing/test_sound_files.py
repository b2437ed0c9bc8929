"""Files that aren't what they say: one clear message each, nothing believed."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile

from assistant.errors import SoundFileError
from assistant.hearing.wav_source import WavSource, read_pcm

TONE = (0.3 * np.sin(np.arange(16_000) / 10)).astype(np.float32)


def written(tmp_path, samples=TONE, rate=16_000, subtype="PCM_16", name="a.wav"):
    path = tmp_path / name
    soundfile.write(path, samples, rate, subtype=subtype)
    return path


def test_a_good_file_comes_back_sample_for_sample(tmp_path):
    source = WavSource(written(tmp_path), block_samples=700)
    pcm = b"".join(source.blocks())
    assert np.array_equal(np.frombuffer(pcm, dtype="<i2"), np.clip(np.rint(soundfile.read(written(tmp_path))[0] * 32768), -32768, 32767))
    assert source.seconds == 1.0


@pytest.mark.parametrize("subtype", ["PCM_U8", "PCM_24", "FLOAT"])
def test_other_sample_widths_are_read(tmp_path, subtype):
    assert len(read_pcm(written(tmp_path, subtype=subtype))) == 32_000


def _cut(tmp_path):
    path = written(tmp_path)
    path.write_bytes(path.read_bytes()[:9000])
    return path


def _nan(tmp_path):
    broken = TONE.copy()
    broken[5] = np.nan
    return written(tmp_path, broken, subtype="FLOAT")


def _text(tmp_path):
    path = tmp_path / "a.wav"
    path.write_text("no sound")
    return path


@pytest.mark.parametrize(("make", "says"), [
    (lambda p: written(p, rate=8000), "8000 Hz"), (lambda p: written(p, np.stack([TONE, TONE], axis=1)), "2 channels"),
    (lambda p: written(p, TONE[:0]), "empty"), (_cut, "ends before"), (_nan, "aren't numbers"), (_text, "isn't a sound file"),
    (lambda p: p / "missing.wav", "no such file"), (lambda p: p, "folder"),
], ids=["rate", "stereo", "empty", "truncated", "nan", "text", "missing", "folder"])
def test_what_is_wrong_is_named(tmp_path, make, says):
    with pytest.raises(SoundFileError, match=says) as caught:
        read_pcm(make(tmp_path))
    assert caught.value.where and caught.value.try_next
    assert caught.value.exit_code == 5


def test_conversion_is_there_for_those_who_ask(tmp_path):
    path = written(tmp_path, np.stack([TONE, TONE], axis=1), rate=48_000)
    assert abs(len(read_pcm(path, convert=True)) // 2 - 16_000 // 3) < 5
