"""Files that aren't what they say: one clear message each, nothing believed."""

from __future__ import annotations

import json
import tracemalloc

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from assistant.errors import SoundFileError
from assistant.hearing.commands.hear_cli import hear
from assistant.hearing.sound.level import LevelMeter
from assistant.hearing.sound.wav_source import WavSource, read_pcm
from tests.hearing.sounds import mixed, spoken_wave

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


def _cut_flac(tmp_path):
    path = written(tmp_path, np.tile(TONE, 8), name="a.flac")
    path.write_bytes(path.read_bytes()[:9000])
    return path


def _infinite(tmp_path):
    broken = np.tile(TONE, 10)
    broken[-5] = np.inf      # far behind the first piece that is read
    return written(tmp_path, broken, subtype="FLOAT")


@pytest.mark.parametrize(("make", "says"), [
    (lambda p: written(p, rate=8000), "8000 Hz"), (lambda p: written(p, np.stack([TONE, TONE], axis=1)), "2 channels"),
    (lambda p: written(p, TONE[:0]), "empty"), (_cut, "ends before"), (_nan, "aren't numbers"), (_infinite, "aren't numbers"),
    (_cut_flac, "ends before"), (_text, "isn't a sound file"),
    (lambda p: p / "missing.wav", "no such file"), (lambda p: p, "folder"),
], ids=["rate", "stereo", "empty", "truncated", "nan", "infinite", "truncated flac", "text", "missing", "folder"])
def test_what_is_wrong_is_named(tmp_path, make, says):
    with pytest.raises(SoundFileError, match=says) as caught:
        read_pcm(make(tmp_path))
    assert caught.value.where and caught.value.try_next
    assert caught.value.exit_code == 5


def test_conversion_is_there_for_those_who_ask(tmp_path):
    path = written(tmp_path, np.stack([TONE, TONE], axis=1), rate=48_000)
    assert abs(len(read_pcm(path, convert=True)) // 2 - 16_000 // 3) < 5


def test_a_converted_file_is_the_same_however_it_is_cut_into_pieces(tmp_path, monkeypatch):
    path = written(tmp_path, np.tile(TONE, 9), rate=44_100)
    whole = read_pcm(path, convert=True)
    monkeypatch.setattr("assistant.hearing.sound.wav_source._PIECE", 777)
    assert read_pcm(path, convert=True) == whole


SPEECH = np.frombuffer(mixed([spoken_wave("repeat"), spoken_wave("dry surface")])[0], dtype="<i2") / np.float32(32768)
NOTHING = np.zeros_like(SPEECH)
HISS = (np.random.default_rng(4).normal(0, 2.0, len(SPEECH)) / 32768).astype(np.float32)


@pytest.mark.parametrize(("left", "right", "tells"), [
    (SPEECH, NOTHING, "No sound at all from the right channel; the left is heard."),
    (NOTHING, SPEECH, "No sound at all from the left channel; the right is heard."),
    (SPEECH, HISS, "Next to nothing from the right; the left is heard."),
    (SPEECH, -SPEECH, "cancel each other out"),
    (SPEECH, SPEECH, ""),
], ids=["right dead", "left dead", "right hisses", "opposed", "both"])
def test_of_two_sides_the_live_one_is_heard_at_its_full_level_and_the_other_told(tmp_path, left, right, tells):
    source = WavSource(written(tmp_path, np.stack([left, right], axis=1)), convert=True)
    assert " ".join(source.notes) == tells if tells.endswith(".") or not tells else tells in " ".join(source.notes)
    heard = np.frombuffer(b"".join(source.blocks()), dtype="<i2").astype(float)
    assert heard.std() == pytest.approx((SPEECH * 32768).std(), rel=0.01)


def test_without_conversion_a_dead_side_is_named_in_the_refusal(tmp_path):
    path = written(tmp_path, np.stack([SPEECH, NOTHING], axis=1))
    with pytest.raises(SoundFileError, match="2 channels, the right of them without any sound"):
        WavSource(path)


def test_commands_are_heard_from_the_live_side_of_a_stereo_file_and_json_tells_which(tmp_path):
    path = written(tmp_path, np.stack([NOTHING, SPEECH], axis=1), rate=16_000, subtype="PCM_16")
    result = CliRunner().invoke(hear, ["--json", "--convert", "--engine", "pocketsphinx", str(path)])
    found = json.loads(result.stdout)
    assert [u["word"] for u in found["utterances"] if u["accepted"]] == ["repeat", "dry_surface"]
    assert found["warnings"] == ["No sound at all from the left channel; the right is heard."]
    assert "right is heard" in result.stderr


def test_eight_bits_are_enough_for_a_command(tmp_path):
    result = CliRunner().invoke(hear, ["--json", "--engine", "pocketsphinx", str(written(tmp_path, SPEECH, subtype="PCM_U8"))])
    assert [u["word"] for u in json.loads(result.stdout)["utterances"] if u["accepted"]] == ["repeat", "dry_surface"]


@pytest.mark.parametrize("before", [1.0, 0.5], ids=["cut off in the file", "cut off, then turned down"])
def test_clipping_is_told_in_plain_words(tmp_path, before):
    clipped = np.clip(SPEECH * 8.0, -1.0, 1.0) * before
    result = CliRunner().invoke(hear, ["--json", "--engine", "pocketsphinx", str(written(tmp_path, clipped))])
    (warning,) = json.loads(result.stdout)["warnings"]
    assert "overdriven" in warning and "Turn its level down" in warning
    assert json.loads(CliRunner().invoke(hear, ["--json", "--engine", "pocketsphinx", str(written(tmp_path, SPEECH))]).stdout)[
        "warnings"] == []


def test_clipping_shows_however_long_the_quiet_around_it_is():
    meter = LevelMeter()
    quiet = np.random.default_rng(1).normal(0, 3, 16_000).astype("<i2")
    for _ in range(600):
        meter.push(quiet)
    meter.push(np.clip(np.rint(SPEECH * 8.0 * 32768), -32768, 32767).astype("<i2"))
    assert any("overdriven" in w for w in meter.warnings())


@pytest.mark.parametrize("hertz", [83, 440, 1500, 3000])
def test_a_loud_whole_tone_is_not_clipped(hertz):
    meter = LevelMeter()
    meter.push((32_000 * np.sin(2 * np.pi * hertz * np.arange(32_000) / 16_000)).astype("<i2"))
    assert meter.loud_windows == 20 and not meter.overdriven


@pytest.mark.parametrize(("parts", "says"), [
    ((0, 6), "gives no sound at all"), ((2, 6), "went silent altogether at 2.0 s and stayed so"),
    ((2, 6, 2), "went silent altogether at 2.0 s until 8.0 s"), ((2, 3, 2), ""),
], ids=["dead", "dies", "comes back", "a short gap"])
@pytest.mark.parametrize("block", [1600, 777, 100_000])
def test_a_channel_that_is_dead_or_dies_is_told_with_its_time(parts, says, block):
    """`parts`: seconds of sound and of nothing, in turn."""
    rng = np.random.default_rng(2)
    sound = np.concatenate([rng.normal(0, 200, s * 16_000) * (k % 2 == 0) for k, s in enumerate(parts)]).astype("<i2")
    meter = LevelMeter()
    for at in range(0, len(sound), block):
        meter.push(sound[at:at + block])
    assert says in " ".join(meter.warnings()) and bool(says) == bool(meter.warnings())


@pytest.mark.parametrize("minutes", [5, pytest.param(60, marks=pytest.mark.full)])
def test_an_hour_of_silence_is_read_piece_by_piece_and_told(tmp_path, minutes):
    """Digital silence: an hour is 115 MB of samples. However long it is, reading it needs the same few."""
    path = tmp_path / "silence.flac"
    with soundfile.SoundFile(path, "w", 16_000, 1, subtype="PCM_16") as file:
        for _ in range(minutes):
            file.write(np.zeros(60 * 16_000, dtype=np.int16))
    tracemalloc.start()
    source = WavSource(path, block_samples=16_000)
    meter, samples = LevelMeter(), 0
    for block in source.blocks():
        samples += len(block) // 2
        meter.push(np.frombuffer(block, dtype="<i2"))
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert samples == minutes * 60 * 16_000 and most < 4e6
    assert meter.warnings() == ["The microphone gives no sound at all. Check its switch and cable."]
