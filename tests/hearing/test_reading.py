"""The attention model's readings, beside what its own package makes of the same sound."""

from __future__ import annotations

import json
import math
import shutil
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
import soundfile

from assistant.errors import ModelError
from assistant.hearing.reading import speech_model
from assistant.hearing.reading.reading import START, Graph, Readings, ways_to_write
from assistant.hearing.vocabulary.packs import load_pack

FOLDER = speech_model.find()
pytestmark = pytest.mark.skipif(FOLDER is None, reason="the attention model isn't installed here")
FIXTURES = Path(__file__).parents[2] / "audio_fixtures"
FILES = {f["file"]: f for f in json.loads((FIXTURES / "manifest.json").read_text(encoding="utf-8"))["files"]}


@lru_cache(maxsize=1)
def model():
    return speech_model.SpeechModel(FOLDER)


def pieces_of(name: str, count: int) -> list[tuple[dict, np.ndarray]]:
    samples, rate = soundfile.read(FIXTURES / name, dtype="int16")
    return [(p, samples[int((p["start_s"] - 0.25) * rate):int((p["end_s"] + 0.15) * rate)])
            for p in FILES[name]["pieces"][:count]]


def commands() -> Graph:
    graph = Graph(model().pieces)
    for form in load_pack("en").forms:
        graph.add(START, form, ways_to_write(form), "said")
    graph.accept("said")
    return graph


def words(text: str) -> list[str]:
    return "".join(c if c.isalnum() or c == "'" else " " for c in text.lower()).split()


def differing(a: list[str], b: list[str]) -> int:
    """Words to change, leave out or put in (Levenshtein 1966)."""
    row = list(range(len(b) + 1))
    for x in a:
        before, row[0] = row[0], row[0] + 1
        for k, y in enumerate(b, 1):
            before, row[k] = row[k], min(row[k] + 1, row[k - 1] + 1, before + (x != y))
    return row[-1]


def test_free_text_is_what_the_models_own_package_writes():
    """Reference: moonshine-voice's native transcriber. It cuts the sound by its own voice detector, so a few words differ."""
    package = pytest.importorskip("moonshine_voice")
    transcriber = package.Transcriber(str(FOLDER), package.ModelArch.TINY)
    readings, graph = Readings(model()), commands()
    wrong = total = 0
    for _, sound in pieces_of("chat-15db.flac", 8) + pieces_of("commands-natural-clean.flac", 12):
        padded = np.pad(sound, 8000).astype(np.float32) / 32768
        theirs = words(" ".join(line.text for line in transcriber.transcribe_without_streaming(padded.tolist(), 16_000).lines))
        ours = readings.read(readings.listen(sound.astype("<i2").tobytes()), graph).text.split()
        wrong, total = wrong + differing(ours, theirs), total + len(theirs)
    assert total > 40
    assert wrong / total < 0.15


def test_the_likeliest_of_our_words_is_the_one_that_was_said():
    readings, graph, pack = Readings(model()), commands(), load_pack("en")
    found = []
    for piece, sound in pieces_of("commands-natural-clean.flac", 46):
        logs = readings.read(readings.listen(sound.astype("<i2").tobytes()), graph).log
        found.append(bool(logs) and pack.word_of(max(logs, key=logs.get)[0]) == piece["expected"])
    assert sum(found) / len(found) > 0.95


def test_likelihoods_are_probabilities_and_no_sum_of_them_exceeds_one():
    readings, graph = Readings(model()), commands()
    for _, sound in pieces_of("commands-natural-clean.flac", 10) + pieces_of("bursts-15db.flac", 5):
        reading = readings.read(readings.listen(sound.astype("<i2").tobytes()), graph)
        assert reading.text_log <= 0.0
        assert sum(math.exp(log) for log in reading.log.values()) <= 1.0 + 1e-3


def test_a_graph_with_two_words_in_a_row_reads_both():
    graph = Graph(model().pieces)
    for first in ("pressure", "fire"):
        graph.add(START, first, (first, first.capitalize()), "middle")
    graph.add("middle", "alarm", (" alarm", ", alarm"), "end", first=False)
    graph.accept("end")
    readings = Readings(model())
    sounds = {p["text"] if "text" in p else p.get("label"): s for p, s in pieces_of("commands-natural-clean.flac", 60)}
    for said in ("pressure alarm", "fire alarm"):
        logs = readings.read(readings.listen(sounds[said].astype("<i2").tobytes()), graph).log
        assert max(logs, key=logs.get) == tuple(said.split())


@pytest.mark.parametrize("pcm", [b"", b"\0\0", b"\0\0" * 100, b"\0\0" * 16_000, b"\xff\x7f\x00\x80" * 20_000])
def test_silence_a_click_and_a_square_wave_are_no_word(pcm):
    readings = Readings(model())
    reading = readings.read(readings.listen(pcm), commands())
    best = max(reading.log.values(), default=-math.inf)
    assert not reading.text or best < reading.text_log - 2.0 or best < -6.0


@pytest.mark.parametrize("name", speech_model.FILES)
def test_a_damaged_file_is_said_with_its_place(tmp_path, name):
    for file in speech_model.FILES:
        shutil.copy(FOLDER / file, tmp_path / file)
    (tmp_path / name).write_bytes((tmp_path / name).read_bytes()[:100])
    with pytest.raises(ModelError) as caught:
        speech_model.SpeechModel(tmp_path)
    assert str(tmp_path) in str(caught.value)
    assert "install" in str(caught.value)
