"""Practice at a headset: the live loop with waits that pass quicker and words that don't; devices and clock are fakes."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "station"))
from fakes import BlockSource, HandClock  # noqa: E402

from assistant.errors import SoundDeviceError  # noqa: E402
from assistant.hearing.judge import Bars  # noqa: E402
from assistant.hearing.profile import Profile  # noqa: E402
from assistant.practice import headset  # noqa: E402
from assistant.practice.channel import Channel  # noqa: E402
from assistant.practice.enclosure_sim import EnclosureSim  # noqa: E402
from assistant.practice.headset import DisturbedSource, run_at_headset  # noqa: E402
from assistant.practice.levels import LED  # noqa: E402
from assistant.practice.operator import Operator  # noqa: E402
from assistant.practice.persona import load_persona  # noqa: E402
from assistant.practice.signoff import record_digest  # noqa: E402
from assistant.session import expects, listened_for  # noqa: E402
from assistant.station import practice_live  # noqa: E402
from assistant.station.live import LiveChoices  # noqa: E402
from assistant.station.live_devices import LiveDevices  # noqa: E402
from assistant.station.own_voice import bars_of  # noqa: E402
from assistant.station.practice_clock import PracticeClock  # noqa: E402
from assistant.station.practice_live import SpeechGuard  # noqa: E402
from assistant.station.screen import PlainScreen  # noqa: E402
from tests.station.live_fakes import Stage  # noqa: E402


class Person:
    """A virtual operator whose words arrive as keys: what it says is taken when it has been said."""

    def __init__(self, plan, clock):
        self.person, self.plan, self.clock = load_persona("careful"), plan, clock
        self.operator = Operator(self.person, EnclosureSim(plan, 2), 2, answers={"drugs": False})
        self.channel, self.state, self.texts, self.due = Channel(self.person.errors, 2), None, {}, []

    def facts(self, state, facts, now_ms):
        self.state = state
        for f in facts:
            if f.KIND == "line_spoken":
                self.texts[f.line] = f.text
            elif f.KIND == "line_ended":
                self.operator.hear(self.texts[f.line], f.ended_ms)

    def get(self):
        now = self.clock().now_ms()
        said = self.operator.next_action(now)
        if said is not None:
            self.due.append((self.operator.said[-1].end_ms, said.text, now))
        if self.state is None or not self.due or self.due[0][0] > now:
            return None
        end, text, start = self.due.pop(0)
        return self.channel.hear(text, start, end, listened_for(self.plan, self.state), expects(self.plan, self.state), False)

    def close(self):
        return None


def run(ready, tmp_path, factor, **more):
    stage, clocks = Stage(), []
    person = Person(ready.plan, lambda: clocks[-1])

    def made(base, by):
        clocks.append(PracticeClock(base, by))
        return clocks[-1]

    kept, practice_live.PracticeClock = practice_live.PracticeClock, made
    d = stage.devices()
    try:
        done = run_at_headset(
            ready, PlainScreen(ready.plan, stage.out), trainee="T", level_name=LED, seed=1, factor=factor,
            records=tmp_path / f"{factor:g}", chosen=LiveChoices(with_keys=True, no_voice_in=True),
            devices=LiveDevices(d.sink, d.source, d.voice, d.engine, lambda: person, d.clock), on_facts=person.facts, **more,
        )
    finally:
        practice_live.PracticeClock = kept
    return done, stage.clock.ms


@pytest.fixture(scope="module")
def both(ready, tmp_path_factory):
    folder = tmp_path_factory.mktemp("records")
    return run(ready, folder, 20.0), run(ready, folder, 1.0)


def test_a_whole_clean_with_quick_waits_takes_less_time_and_says_practice_in_every_line(both):
    (quick, quick_ms), (true, true_ms) = both
    for done in (quick, true):
        assert done.verdict == "complete" and not done.problems, done.problems
        assert record_digest(done.folder) and (done.folder / "enclosure.json").is_file()
    waited = sum(f.waited_ms for f in true.facts if f.KIND == "wait_ended")
    assert waited > 120_000
    assert quick_ms < true_ms - 0.6 * waited
    # what a wait stands for is spoken, and counted in the record, in full
    assert sum(f.waited_ms for f in quick.facts if f.KIND == "wait_ended") > 0.8 * waited
    spoken = {f.text for f in true.facts if f.KIND == "line_spoken" and "to stay wet" in f.text}
    assert spoken & {f.text for f in quick.facts if f.KIND == "line_spoken"}


def test_words_keep_their_real_times_while_a_wait_is_quick(both):
    (quick, _), (true, _) = both

    def lengths(done):
        texts = {f.line: f.text for f in done.facts if f.KIND == "line_spoken"}
        return {texts[f.line]: f.ended_ms - f.started_ms for f in done.facts if f.KIND == "line_ended" and not f.interrupted}

    a, b = lengths(quick), lengths(true)
    same = set(a) & set(b)
    assert len(same) > 20 and all(abs(a[t] - b[t]) <= 2 for t in same)


def test_the_clock_hurries_only_when_told_and_never_past_the_next_deadline():
    base, gains = HandClock(), []
    clock = PracticeClock(base, 10.0)
    clock.on_gain = gains.append
    clock.sleep(1.0)
    assert clock.now_ms() == 1000 and not gains
    clock.quick = lambda: True
    clock.sleep(0.1)
    assert clock.now_ms() == 2000 and gains == [900]
    clock.limit_ms = lambda: 2300
    clock.sleep(0.1)
    assert clock.now_ms() == 2300
    clock.sleep(0.1)
    assert clock.now_ms() == 2400 and sum(gains) == clock.gained_ms
    assert PracticeClock(base, 10.0).now_ms() == base.now_ms()


def test_somebody_who_speaks_is_noticed_within_one_block():
    guard, quiet = SpeechGuard(), np.full(800, 60, "<i2").tobytes()
    for at in range(0, 2000, 50):
        guard.take(quiet, at)
    assert not guard.speaking(2000)
    guard.take(np.full(800, 2000, "<i2").tobytes(), 2050)
    assert guard.speaking(2051) and not guard.speaking(2050 + 1600)


def test_a_cut_microphone_is_lost_and_comes_back_and_a_noisy_minute_is_twelve_decibels(ready):
    clock = HandClock()
    source = DisturbedSource(BlockSource(clock), 1)
    source.cut = True
    assert source.read(0.05) is None and source.lost() and not source.reopen()
    source.cut = False
    assert not source.lost() and source.reopen()

    class Fan:
        def read(self, timeout_s):
            return np.random.default_rng(1).normal(0, 100, 16_000).astype("<i2").tobytes()

    fan = DisturbedSource(Fan(), 1)
    before = np.frombuffer(fan.read(1.0), "<i2").astype(float)
    fan.noisy = True
    after = np.frombuffer(fan.read(1.0), "<i2").astype(float)
    assert abs(20 * np.log10(after.std() / before.std()) - 12.0) < 1.0


def test_without_a_headset_nothing_is_written(ready, tmp_path):
    def none(name):
        raise SoundDeviceError("There is no headset.")

    stage = Stage()
    devices = LiveDevices(none, none, stage.devices().voice, stage.devices().engine, lambda: stage, stage.make_clock)
    with pytest.raises(SoundDeviceError):
        run_at_headset(ready, PlainScreen(ready.plan, stage.out), trainee="T", level_name=LED, seed=1,
                       records=tmp_path, devices=devices)
    assert not list(tmp_path.iterdir())


def test_a_trainee_is_asked_for_the_words_and_held_to_the_bars_of_their_own_profile(ready, tmp_path, monkeypatch):
    # the bar for a word that confirms can't be lowered by it, here as at work
    own = Profile("T", "en", 900.0, Bars(confirming=0.01, other=0.2), ("spill",), 36, {"spill": ("spillage",)}, "")
    monkeypatch.setattr(headset, "profile_of", lambda name, person, language, say: own if person == "T" else None)
    held = []

    class Enough(Exception):
        pass

    def parts(given, chosen, devices, stack, *, check_level, profile=None):
        held.append((given.pack.say["spill"][0], given.plan.spoken["spill"], bars_of(profile, "pocketsphinx"), profile))
        raise Enough

    monkeypatch.setattr(practice_live, "open_parts", parts)
    stage, told = Stage(), []
    with pytest.raises(Enough):
        run_at_headset(ready, PlainScreen(ready.plan, stage.out), trainee="T", level_name=LED, seed=1, records=tmp_path,
                       devices=stage.devices(), show=told.append)
    assert held == [("spillage", "spillage", Bars(Bars().confirming, 0.2), own)]
    assert told == ['Profile: say "spillage" instead of "liquid spill".']
