"""Practice at a headset: the live loop with waits that pass quicker and words that don't; devices and clock are fakes."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "station"))
from fakes import BlockSource

from assistant.account.reading import load_session
from assistant.account.rederiving import rederive
from assistant.errors import SoundDeviceError
from assistant.hearing.judging.judge import Bars
from assistant.hearing.people.profile import Profile
from assistant.practice.enclosure.simulated import EnclosureSim
from assistant.practice.evidence.signoff import record_digest
from assistant.practice.operator.channel import Channel
from assistant.practice.operator.person import Operator
from assistant.practice.operator.persona import load_persona
from assistant.practice.session_run import Wanted
from assistant.practice.trainee import headset, practice_live
from assistant.practice.trainee.headset import DisturbedSource, run_at_headset
from assistant.practice.trainee.levels import LED, RECALL
from assistant.practice.trainee.practice_clock import PracticeClock
from assistant.practice.trainee.practice_live import SpeechGuard
from assistant.practice.trainee.spoken_recall import SpokenRecall
from assistant.session import expects, inputs, listened_for
from assistant.session.facts.steps import StepStarted
from assistant.speaking.player import Player
from assistant.station.live.devices import LiveDevices
from assistant.station.live.own_voice import bars_of
from assistant.station.live.session import LiveChoices
from assistant.station.loop.hand_clock import HandClock
from assistant.station.loop.screen import PlainScreen
from tests.station.live_fakes import Stage


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


def run(ready, tmp_path, factor, level_name=LED, **more):
    stage, clocks = Stage(), []
    person = Person(ready.plan, lambda: clocks[-1])

    def made(base, by):
        clocks.append(PracticeClock(base, by))
        return clocks[-1]

    kept, practice_live.PracticeClock = practice_live.PracticeClock, made
    d = stage.devices()
    try:
        done = run_at_headset(
            ready, PlainScreen(ready.plan, stage.out), Wanted("T", level_name, 1, factor, records=tmp_path / f"{factor:g}"),
            chosen=LiveChoices(with_keys=True, no_voice_in=True),
            devices=LiveDevices(d.sink, d.source, d.voice, d.engine, lambda: person, d.clock), on_facts=person.facts,
            **more,
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
        run_at_headset(ready, PlainScreen(ready.plan, stage.out), Wanted("T", LED, 1, records=tmp_path), devices=devices)
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
        run_at_headset(ready, PlainScreen(ready.plan, stage.out), Wanted("T", LED, 1, records=tmp_path, show=told.append),
                       devices=stage.devices())
    assert held == [("spillage", "spillage", Bars(Bars().confirming, 0.2), own)]
    assert told == ['Profile: say "spillage" instead of "liquid spill".']


def test_at_recall_the_question_is_spoken_and_answered_before_anything_of_the_step_is_shown_or_said(ready, tmp_path, monkeypatch):
    said, shown, asked_at = [], [], []
    say = Player.say

    def heard(self, text, start_s=None):
        said.append(text)
        if text.startswith("What comes next?"):
            shown.append("ASKED")
        return say(self, text, start_s)

    monkeypatch.setattr(Player, "say", heard)
    keyed = Person.get

    def get(self):
        if said and said[-1].startswith("What comes next?"):
            asked_at.append(self.clock().now_ms())
            if len(asked_at) == 10:  # thinks for a while: session time stands still meanwhile
                asked_at.clear()
                return inputs.Word("spill", source="keys", said="2")
            return None
        return keyed(self)

    monkeypatch.setattr(Person, "get", get)
    done, _ = run(ready, tmp_path, 20.0, level_name=RECALL, on_shown=lambda s, facts, n: shown.extend(
        f.step for f in facts if f.KIND == "step_started" and not f.step.startswith("bridge:")))
    assert done.verdict == "complete" and not done.problems
    opened = load_session(done.folder)
    kept = [f for f in opened.facts if f.KIND == "next_recalled"]
    questions = [t for t in said if t.startswith("What comes next?")]
    assert len(kept) == len(questions) > 10 and all(f.chosen == 2 for f in kept)
    assert rederive(opened) == []
    for fact in kept:
        text = f"What comes next? One: {fact.choices[0]} Two: {fact.choices[1]} Three: {fact.choices[2]}"
        at = said.index(text)
        right = fact.choices[fact.right - 1]
        assert said[at + 1] == ("You said two. Right." if fact.right == 2 else f"You said two. It is {('One', 'Two', 'Three')[fact.right - 1].lower()}: {right}")
    assert shown.count("ASKED") == len(kept) and shown[:2] == ["ASKED", kept[0].step]
    begun = {f.step: f.at_ms for f in reversed(opened.facts) if f.KIND == "step_started"}
    first = {f.step: f.at_ms for f in reversed(kept)}
    late = sorted(first[step] - begun[step] for step in first)
    assert late[len(late) // 2] < 3000 and late[-1] < 10_000  # what was still being said; thinking takes 5 s and more


class Spoken:
    """A recall question by itself, with its clock."""

    def __init__(self, plan, seed=3):
        self.shown, self.now = [], 0.0
        self.recall = SpokenRecall(plan, seed, self.shown.append)
        self.step = plan.steps[5]
        assert self.recall.begins_at([StepStarted(0, self.step.id, "", "step")]) == 0
        self.recall.begin(self.step.id)

    def look(self, after_s=1.0, speaking=False):
        self.now += after_s
        return self.recall.look(self.now, speaking)


def test_a_question_waits_for_silence_takes_a_said_digit_and_repeats(plan):
    q = Spoken(plan)
    assert q.look(speaking=True) == "" and q.recall.take(inputs.Word("confirm", source="voice"))  # can't be meant for what isn't known
    asked = q.look()
    assert asked.startswith("What comes next? One: ") and q.recall.listens
    assert q.recall.take(inputs.Word("repeat", source="voice")) and q.look() == asked
    assert q.recall.take(inputs.Word("confirm", source="voice")) and q.recall.next() is None
    assert q.recall.take(inputs.Value("3", source="voice")) and q.look().startswith("You said three.")
    assert q.look(speaking=True) == "" and q.recall.open
    assert q.look() == "" and not q.recall.open
    answer = q.recall.next()
    assert (answer.chosen, answer.step) == (3, q.step.id) and q.recall.next() is None
    assert not q.recall.take(inputs.Word("confirm", source="voice"))


def test_what_is_not_understood_never_counts_against_the_trainee(plan):
    q = Spoken(plan)
    q.look()
    assert q.recall.take(inputs.Misheard("while speaking")) and q.look() == ""
    for _ in range(2):
        q.recall.take(inputs.Value("9", source="voice"))
        assert q.look() == "I didn't follow. Say one, two or three. Say no if you don't know."
    q.recall.take(inputs.Misheard("not a number I could follow"))
    assert "doesn't count" in q.look() and q.look() == "" and not q.recall.open and q.recall.next() is None


def test_no_and_long_silence_are_answers_that_say_not_known(plan):
    q = Spoken(plan)
    q.look()
    q.recall.take(inputs.Word("no", source="voice"))
    assert q.look().startswith("It is ") and q.recall.next().chosen == 0
    q = Spoken(plan)
    q.look()
    assert q.look(14.0) == "" and q.look(2.0).startswith("Say one") and q.look(speaking=True) == ""
    assert q.look(16.0) == "" and q.look().startswith("It is ") and q.recall.next().chosen == 0


def test_stop_is_never_kept_back_by_a_question(plan):
    q = Spoken(plan)
    q.look()
    assert not q.recall.take(inputs.Word("stop", source="voice")) and not q.recall.open


def test_time_stands_still_while_held():
    base, gains = HandClock(), []
    clock = PracticeClock(base, 10.0)
    clock.on_gain = gains.append
    clock.sleep(1.0)
    clock.now_ms()
    clock.held, clock.quick = True, lambda: True
    clock.sleep(5.0)
    assert clock.now_ms() == 1000 and sum(gains) == -5000
    clock.held, clock.quick = False, lambda: False
    clock.sleep(0.5)
    assert clock.now_ms() == 1500
