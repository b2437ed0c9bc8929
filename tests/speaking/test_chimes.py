"""Each signal can be told from the others by its rhythm alone, and is loud enough where ears are good."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from assistant.errors import UsageError
from assistant.speaking.chimes import NAMES, chime, peak_dbfs

RATE_HZ = 16_000


def rhythm(samples: np.ndarray) -> list[tuple[int, int]]:
    """(sounding ms, silent ms) of each pulse, by a 5 ms envelope."""
    size = RATE_HZ // 200
    whole = len(samples) // size * size
    on = (
        np.abs(samples[:whole].reshape(-1, size).astype(int)).max(axis=1)
        > 0.08 * np.abs(samples.astype(int)).max()
    )
    edges = np.flatnonzero(np.diff(np.concatenate([[0], on.astype(int), [0]])))
    starts, ends = edges[::2], edges[1::2]
    gaps = [*(starts[1:] - ends[:-1]), 0]
    return [(int(e - s) * 5, int(g) * 5) for s, e, g in zip(starts, ends, gaps, strict=True)]


def test_the_six_signals_are_there():
    assert set(NAMES) == {"listening", "contact_complete", "re_wet", "refused", "warning", "alarm"}


@pytest.mark.parametrize("pair", list(combinations(NAMES, 2)), ids="-".join)
def test_two_signals_differ_in_rhythm_and_not_only_in_pitch(pair):
    a, b = (rhythm(chime(name)) for name in pair)
    different_count = len(a) != len(b)
    longest_a, longest_b = (max(on for on, _ in pulses) for pulses in (a, b))
    assert different_count or max(longest_a, longest_b) >= 1.3 * min(longest_a, longest_b)


@pytest.mark.parametrize("name", NAMES)
def test_the_peak_level_is_as_stated(name):
    peak = np.abs(chime(name).astype(int)).max()
    assert 20 * np.log10(peak / 32767) == pytest.approx(peak_dbfs(name), abs=0.05)


@pytest.mark.parametrize("name", NAMES)
def test_nearly_all_energy_lies_between_200_and_5000_hz_in_two_octave_bands_or_more(name):
    # The band is NUREG-0700 rev. 2's for auditory signals.
    power = np.abs(np.fft.rfft(chime(name).astype(float))) ** 2
    hz = np.fft.rfftfreq(len(chime(name)), 1 / RATE_HZ)
    assert power[(hz >= 200) & (hz <= 5000)].sum() > 0.95 * power.sum()
    bands = [power[(hz >= low) & (hz < 2 * low)].sum() for low in (250, 500, 1000, 2000)]
    assert sum(band > 0.05 * power.sum() for band in bands) >= 2


def test_the_alarm_is_the_loudest_and_the_listening_tick_the_softest_and_shortest():
    assert max(NAMES, key=peak_dbfs) == "alarm"
    assert min(NAMES, key=peak_dbfs) == "listening" == min(NAMES, key=lambda n: len(chime(n)))


@pytest.mark.parametrize("name", NAMES)
def test_a_chime_begins_and_ends_without_a_click(name):
    samples = chime(name).astype(int)
    assert abs(samples[0]) < 200 and abs(samples[-1]) < 200


def test_an_unknown_name_is_refused_with_the_known_ones():
    with pytest.raises(UsageError) as caught:
        chime("gong")
    assert "contact_complete" in caught.value.format_message()
