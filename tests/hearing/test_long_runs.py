"""The benches that run for hours: their counting, their bounds, and that a run cut off goes on where it was."""

from __future__ import annotations

import json
import os
import sys
from types import SimpleNamespace

import numpy as np
import pytest

from assistant.errors import StorageError
from assistant.hearing.engines.fake import FakeEngine
from assistant.hearing.listener import Listener
from assistant.hearing.vocabulary.packs import Pack, load_pack
from assistant.language import vocabulary as words
from tests.bench.hearing import memory
from tests.bench.hearing.many_utterances import many_utterances
from tests.bench.hearing.noise_hours import Tally, minute_of_noise, noise_hours, poisson_upper


def deaf() -> Listener:
    listener = Listener(FakeEngine(), load_pack("en"))
    listener.set_active(words.ALL)
    return listener


class Gullible:
    """Takes the first second of every minute for a confirmation."""

    def __init__(self, word: str = "confirm") -> None:
        self.word = word

    def feed(self, pcm: bytes):
        return [SimpleNamespace(accepted=True, word=self.word, start_s=0.0, confidence=1.0, reason="")]


@pytest.mark.parametrize(("count", "bound"), [(0, 2.996), (1, 4.744), (2, 6.296), (5, 10.513), (10, 16.962)])
def test_bounds_of_rare_events_match_the_table(count, bound):
    """Upper 95 % one-sided limits of a Poisson mean, as in Garwood 1936 (half of the chi-square quantile at 2(k + 1) degrees
    of freedom: 5.991 / 2, 9.488 / 2, 12.592 / 2, 21.026 / 2, 33.924 / 2 of any chi-square table)."""
    assert poisson_upper(count) == pytest.approx(bound, abs=0.001)


def test_a_minute_of_noise_comes_back_from_its_seed_and_holds_sound():
    first, bursts = minute_of_noise(5, 3)
    assert (first, bursts) == minute_of_noise(5, 3) and first != minute_of_noise(5, 4)[0]
    assert len(first) == 60 * 32_000 and bursts >= 1
    assert np.abs(np.frombuffer(first, dtype="<i2").astype(int)).max() > 1000


def test_every_accepted_utterance_is_a_false_one_and_confirmations_are_told_apart():
    found = noise_hours(Gullible, 3 / 60, plain=lambda: Gullible("repeat"))
    assert (found["hours"], found["utterances"], found["false_accepts"], found["confirmations"]) == (0.05, 3, 3, 3)
    assert found["plain_grammar"] == {"utterances_named": 3, "false_accepts": 3, "confirmations": 0}
    assert found["confirmations_in_8_h_upper_95"] == pytest.approx(8 * 7.754 / 0.05, rel=0.01)   # 15.507 / 2 by the table
    assert found["bursts"] == sum(minute_of_noise(5, k)[1] for k in range(3)) == found["confirmations_of_bursts"]["trials"]


def test_a_run_that_was_cut_off_goes_on_and_counts_the_same(tmp_path):
    whole = noise_hours(deaf, 4 / 60)
    journal = tmp_path / "j.json"
    noise_hours(deaf, 2 / 60, journal=journal, about="fake")
    resumed = noise_hours(deaf, 4 / 60, journal=journal, about="fake")
    for key in ("hours", "bursts", "utterances", "false_accepts", "refused_because"):
        assert resumed[key] == whole[key], key
    assert Tally(json.loads(journal.read_text())["tally"]).minutes == 4


def test_a_journal_of_something_else_is_refused(tmp_path):
    journal = tmp_path / "j.json"
    noise_hours(Gullible, 1 / 60, journal=journal, about="one engine")
    with pytest.raises(StorageError, match="another measurement"):
        noise_hours(Gullible, 1 / 60, journal=journal, about="another engine")
    journal.write_text("{")
    with pytest.raises(StorageError, match="can't be read"):
        noise_hours(Gullible, 1 / 60, journal=journal, about="one engine")


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="NOT MEASURED HERE: only Linux tells")
def test_memory_is_counted_as_the_system_counts_it():
    import resource

    before = memory.rss_mib()
    held = bytearray(os.urandom(40 << 20))
    after = memory.rss_mib()
    assert 35 < after - before < 45 and len(held) == 40 << 20
    assert after <= resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024 + 200   # 200: processes below this one


def test_many_utterances_tell_right_wrong_and_crashes():
    """A fake that hears every word but takes one for another, and that has crashed once."""
    pack = Pack("ko", {"repeat": ("다시",), "cancel": ("취소",)})
    engine = FakeEngine(language="ko")
    engine.restarts = 1

    def make() -> Listener:
        listener = Listener(engine, pack)
        listener.set_active(words.ALL)
        engine.close()
        engine.tell("다시", "다시", *["다시", "취소"] * 20)
        return listener

    found = many_utterances(make, pack, 12, "espeak:ko+f2:45:140")
    assert found["utterances"] == 12 and found["crashes"] == 1
    assert found["named_voice"]["of_all"] == [1, 2] and found["named_voice"]["missed"] == ["취소"]
    assert found["recall"]["clean"]["trials"] == 11 and found["wrong"]["hits"] >= 1
    assert 200 < found["decision_ms"]["all"]["p50"] < 500
