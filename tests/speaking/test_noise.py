"""Fan-like noise with the stated spectrum, and mixes whose ratio can be measured again."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.speaking.noise import (
    BLADE_PASS_HZ,
    SLOPE_DB_PER_OCTAVE,
    FanNoise,
    active_speech_dbfs,
    fan_noise,
    mix_at_snr,
    rms_dbfs,
)

RATE_HZ = 16_000


@given(st.lists(st.integers(0, 9_000), min_size=1, max_size=6), st.integers(0, 5))
def test_pieces_of_any_length_make_the_same_noise(sizes, seed):
    noise = FanNoise(seed)
    pieces = np.concatenate([noise.read(n) for n in sizes])
    assert np.array_equal(pieces, FanNoise(seed).read(sum(sizes)))


def test_another_seed_is_another_noise():
    assert not np.array_equal(fan_noise(0.5, 1), fan_noise(0.5, 2))


@pytest.mark.parametrize("level_dbfs", [-60.0, -35.0, -20.0])
def test_the_level_is_as_asked(level_dbfs):
    assert rms_dbfs(fan_noise(20, 3, level_dbfs=level_dbfs)) == pytest.approx(level_dbfs, abs=0.3)


def test_a_level_that_would_clip_is_refused():
    with pytest.raises(ValueError, match="clip"):
        FanNoise(1, level_dbfs=-6)


def test_the_spectrum_falls_as_stated_and_has_the_blade_pass_tone():
    power = np.abs(np.fft.rfft(fan_noise(60, 4).astype(float))) ** 2
    hz = np.fft.rfftfreq(60 * RATE_HZ, 1 / RATE_HZ)
    density = [power[(hz >= low) & (hz < 2 * low)].mean() for low in (600, 1200, 2400)]
    for a, b in itertools.pairwise(density):
        assert 10 * np.log10(b / a) == pytest.approx(SLOPE_DB_PER_OCTAVE, abs=0.5)
    near = (hz > BLADE_PASS_HZ - 30) & (hz < BLADE_PASS_HZ + 30)
    peak_hz = hz[near][power[near].argmax()]
    assert peak_hz == pytest.approx(BLADE_PASS_HZ, abs=0.5)
    assert power[near].max() > 100 * np.median(power[near])


@pytest.mark.parametrize("snr_db", [20, 10, 0])
def test_a_mix_has_the_ratio_that_was_asked_for(snr_db):
    """Measured again from the mix: what isn't speech is noise."""
    speech = np.round(3000 * np.sin(np.arange(RATE_HZ) * 0.2)).astype(np.int16)
    mixed = mix_at_snr(speech, fan_noise(3.0, 5), snr_db)
    noise = mixed.astype(np.int32)
    noise[: len(speech)] -= speech
    assert active_speech_dbfs(speech) - rms_dbfs(noise) == pytest.approx(snr_db, abs=0.1)
    assert len(mixed) == 3 * RATE_HZ


def test_pauses_dont_count_as_speech():
    speech = np.round(3000 * np.sin(np.arange(RATE_HZ) * 0.2)).astype(np.int16)
    with_pause = np.concatenate([speech, np.zeros(3 * RATE_HZ, dtype=np.int16), speech])
    assert active_speech_dbfs(with_pause) == pytest.approx(active_speech_dbfs(speech), abs=0.01)
    # a sine of amplitude 3000: RMS 3000 / sqrt 2
    assert active_speech_dbfs(speech) == pytest.approx(20 * np.log10(3000 / np.sqrt(2) / 32767), abs=0.05)


def test_silence_and_short_noise_are_refused():
    loud = np.full(1000, 100, dtype=np.int16)
    with pytest.raises(ValueError, match="both have sound"):
        mix_at_snr(np.zeros(1000, dtype=np.int16), loud, 10)
    with pytest.raises(ValueError, match="shorter"):
        mix_at_snr(loud, loud[:10], 10)
