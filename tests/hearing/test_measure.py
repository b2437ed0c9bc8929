"""The measuring itself: known truths in, known figures out."""

from __future__ import annotations

import numpy as np
import pytest

from assistant.hearing.engines.fake import FakeEngine
from assistant.hearing.listener import Listener
from assistant.hearing.sound.speech_level import active_rms
from assistant.hearing.vocabulary.packs import Pack, load_pack
from assistant.language import vocabulary as words
from tests.bench.hearing import chain, negatives
from tests.bench.hearing.baseline import PocketsphinxBaseline
from tests.bench.hearing.figures import Figures
from tests.bench.hearing.mixing import SPEECH_RMS, mix, noise
from tests.bench.hearing.rates import rate, upper_bound
from tests.hearing.sounds import spoken_wave


@pytest.mark.parametrize(("hits", "trials", "bound"), [(0, 100, 0.0295), (0, 3000, 0.000998), (1, 100, 0.0466), (5, 100, 0.1023)])
def test_upper_bounds_match_published_ones(hits, trials, bound):
    """Zero of n: 1 - 0.05**(1/n), about 3/n (Hanley and Lippman-Hand 1983); others: tables of Clopper and Pearson (from memory,
    checked against the beta distribution)."""
    assert upper_bound(hits, trials) == pytest.approx(bound, rel=0.01)
    if hits == 0:
        assert upper_bound(0, trials) == pytest.approx(1 - 0.05 ** (1 / trials), rel=1e-6)


def test_no_trials_promise_nothing():
    assert rate(0, 0) == {"hits": 0, "trials": 0, "share": None, "upper_95": 1.0}
    assert rate(3, 3)["upper_95"] == 1.0


@pytest.mark.parametrize("snr", [20.0, 10.0])
def test_the_mixture_has_the_ratio_it_states(snr):
    wave = spoken_wave("pressure alarm").astype(np.float32) / 32768
    pcm, (placed,) = mix([("x", "x", wave)], snr, 3)
    whole = np.frombuffer(pcm, dtype="<i2").astype(np.float64)
    room = whole[: int(placed.start_s * 16_000)].std()
    assert 20 * np.log10(SPEECH_RMS / room) == pytest.approx(snr, abs=0.7)
    inside = whole[int(placed.start_s * 16_000):int(placed.end_s * 16_000)]
    assert active_rms(inside) == pytest.approx(np.hypot(SPEECH_RMS, room), rel=0.15)
    assert np.array_equal(noise(100, 3, "tune"), noise(100, 3, "tune"))


def test_outcomes_tell_right_wrong_and_missed_apart():
    waves = [(w, w, spoken_wave(w).astype(np.float32) / 32768) for w in ("repeat", "resume", "trouble")]
    pcm, placed = mix(waves, None, 1)
    listener = Listener(FakeEngine(["repeat", "trouble", ""]), load_pack("en"))
    listener.set_active(words.ALL)
    outcomes, outside = chain.run(listener, pcm, placed)
    assert [(o.right, o.wrong) for o in outcomes] == [(True, False), (False, True), (False, False)]
    assert outside == []
    assert 0.2 < outcomes[0].latency_s() < 0.45 and outcomes[2].latency_s() is None


def test_figures_count_what_was_right_wrong_and_taken_for_another_and_name_it(monkeypatch):
    pack = Pack("en", {"repeat": ("repeat",), "resume": ("resume",)})
    lines = iter([["repeat", "repeat"], ["repeat", ""], ["repeat", "resume"], ["repeat", ""], ["repeat", "repeat"]])

    def make() -> Listener:
        listener = Listener(FakeEngine(next(lines)), pack)
        listener.set_active(words.ALL)
        return listener

    figures = Figures(make, pack, lambda told: None)
    figures.commands(("espeak:en-us+m3:40:150",))
    near = [("", text, spoken_wave(text).astype(np.float32) / 32768) for text in ("rebate", "rhythm")]
    monkeypatch.setattr(negatives, "gather", lambda *given: [("near misses", near), ("near misses", near)])
    figures.negatives("report", ())
    found = figures.result()
    # The engine's answers are those above: four of six commands right, one taken for another, three of four near words taken.
    assert [found["recall"]["formant"][snr]["hits"] for snr in ("clean", "15 dB", "10 dB")] == [1, 1, 2]
    assert (found["wrong"]["hits"], found["wrong"]["trials"]) == (1, 6)
    assert (found["false_accepts"]["near misses"]["hits"], found["false_accepts"]["near misses"]["trials"]) == (3, 4)
    assert found["confusions"] == {"commands": {"resume -> repeat (clean)": 1},
                                   "near misses": {"rebate -> repeat": 2, "rhythm -> repeat": 1}}


def test_the_baseline_accepts_what_the_chain_refuses():
    """The plain grammar takes nearly anything: that is what it is there to show."""
    lines = ("the kettle is on", "we should order wipes", "how was your weekend", "the lift is broken")
    pcm, placed = mix([("", t, spoken_wave(t).astype(np.float32) / 32768) for t in lines], None, 2)
    outcomes, _ = chain.run(PocketsphinxBaseline(load_pack("en")), pcm, placed)
    assert sum(bool(o.accepted) for o in outcomes) >= 2
