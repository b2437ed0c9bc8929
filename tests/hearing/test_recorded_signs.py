"""Digits and spelling words by a person: what is looked for, and how it is counted."""

from __future__ import annotations

import numpy as np
import soundfile

from assistant.hearing.utterance import Value
from tests.bench.hearing import recorded_signs


class Listener:
    """Hears every recording as the sign it is told to."""

    def __init__(self, signs):
        self._signs = signs

    def set_active(self, active, expect):
        assert active == frozenset() and expect in ("number sign", "lot sign")

    def feed(self, pcm):
        sign = next(self._signs)
        return [] if sign is None else [type("Heard", (), {"accepted": True, "value": Value("number sign", sign, (sign,))})]

    def flush(self):
        return []


def test_each_recording_counts_as_right_wrong_or_missed(tmp_path, monkeypatch):
    monkeypatch.setenv("HUMAN_PROMPTS", str(tmp_path))
    (tmp_path / "digits").mkdir()
    for name in ("4", "7", "minus"):
        soundfile.write(tmp_path / "digits" / f"{name}.wav", np.sin(np.arange(4_000) / 3) / 2, 8_000)
    heard = iter(["4", "4", None] * 3)
    found = recorded_signs.recorded_figures(lambda: Listener(heard))
    assert set(found) == {"number sign, clean", "number sign, 15 dB", "number sign, 10 dB"}
    clean = found["number sign, clean"]
    assert (clean["right"]["hits"], clean["wrong"]["hits"], clean["right"]["trials"]) == (1, 1, 3)


def test_where_nothing_is_installed_nothing_is_claimed(tmp_path, monkeypatch):
    monkeypatch.setenv("HUMAN_PROMPTS", str(tmp_path))
    assert recorded_signs.recorded_figures(lambda: None) == {}
