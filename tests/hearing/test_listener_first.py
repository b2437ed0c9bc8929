"""The chain on real synthesised sound, with the embedded engine."""

from __future__ import annotations

import numpy as np
import pytest
import soxr

from assistant.hearing.engines import open_engine
from assistant.hearing.listener import Listener
from assistant.hearing.packs import load_pack
from assistant.speaking.synth import render


def sound(text: str, voice: str = "en-us+m3", level: float = 8000.0) -> np.ndarray:
    samples, rate = render(text, voice, 40, 150)
    wave = soxr.resample(samples.astype(np.float32), rate, 16_000)
    return wave / np.abs(wave).max() * level


def room(*waves: np.ndarray, noise: float = 3.0) -> bytes:
    gap = np.zeros(12_000, dtype=np.float32)
    whole = np.concatenate([part for wave in waves for part in (gap, wave)] + [gap])
    whole = whole + np.random.default_rng(7).normal(0.0, noise, len(whole))
    return whole.astype("<i2").tobytes()


@pytest.fixture(scope="module")
def pcm() -> bytes:
    return room(sound("repeat"), sound("liquid spill"), sound("dry surface"))


def heard(pcm: bytes, block: int, **options) -> list:
    listener = Listener(open_engine(engine="pocketsphinx"), load_pack("en"), **options)
    listener.set_active(frozenset({"repeat", "spill"}))
    out = []
    for at in range(0, len(pcm), block):
        out += listener.feed(pcm[at:at + block])
    return out + listener.flush()


def test_commands_are_heard_and_one_that_is_not_active_is_named_but_refused(pcm):
    found = heard(pcm, 3200)
    assert [(u.word, u.accepted, u.reason) for u in found] == [
        ("repeat", True, ""), ("spill", True, ""), ("dry_surface", False, "not now")]


def test_the_size_of_the_blocks_changes_nothing(pcm):
    first = heard(pcm, 3200)
    assert heard(pcm, 642) == first
    assert heard(pcm, len(pcm)) == first
