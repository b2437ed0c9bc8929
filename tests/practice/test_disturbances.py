"""Noise, a failing microphone and a power cut happen on cue, are met, and repeat; a person at the keys sees each mishap."""

from __future__ import annotations

import pytest

from assistant.language.sentences import say
from assistant.practice.enclosure.disturbances import (
    COMPUTER,
    KINDS,
    MICROPHONE,
    NOISE,
    Disturber,
    draw_disturbances,
)
from assistant.practice.enclosure.drills import draw
from assistant.practice.enclosure.schematic import DONE, WET_NOW, cells
from assistant.practice.enclosure.simulated import EnclosureSim
from assistant.practice.enclosure.stage import DrillStage
from assistant.practice.operator import understanding as u
from assistant.practice.operator.channel import Channel
from assistant.practice.operator.person import Operator
from assistant.practice.operator.persona import load_persona
from assistant.practice.oracle.judge import Oracle
from assistant.practice.oracle.ledger import ENGINE
from assistant.practice.session_run import Wanted, run_practice
from assistant.practice.simulate import Simulation
from assistant.practice.trainee.levels import ASSESSMENT, LED, PROMPTED, RECALL, level
from assistant.practice.trainee.typed import TypedTrainee


def work(plan, kinds, seed):
    person, world = load_persona("careful"), EnclosureSim(plan, seed)
    operator, channel = Operator(person, world, seed), Channel(person.errors, seed)
    oracle = Oracle(plan, world, operator.said, channel.confused, operator.lapses)
    disturber = Disturber(draw_disturbances(plan, seed, kinds))
    run = Simulation(plan, operator, channel, oracle=oracle, disturber=disturber).run()
    return run, oracle, disturber


@pytest.mark.parametrize("kind", KINDS)
def test_each_is_met_and_the_clean_still_ends(plan, kind):
    run, oracle, disturber = work(plan, [kind], "d:2")
    assert [k for _, k in disturber.happened] == [kind]
    assert run.state.verdict == "complete" and oracle.count()[ENGINE] == 0, (run.problem, oracle.findings[:3])
    kinds = [f.KIND for f in run.facts]
    wanted = {NOISE: "heard", MICROPHONE: "device_lost", COMPUTER: "recovered"}[kind]
    assert wanted in kinds, sorted(set(kinds))


def test_a_noisy_minute_costs_words(plan):
    quiet = [work(plan, [], f"n:{i}")[0].channel.missed for i in range(4)]
    noisy = [work(plan, [NOISE], f"n:{i}")[0].channel.missed for i in range(4)]
    assert sum(noisy) > sum(quiet)


def test_the_same_seed_disturbs_alike_and_another_otherwise(plan):
    assert draw_disturbances(plan, 1, KINDS) == draw_disturbances(plan, 1, KINDS) != draw_disturbances(plan, 2, KINDS)
    with pytest.raises(ValueError, match="earthquake"):
        draw_disturbances(plan, 1, ["earthquake"])


def test_a_power_cut_in_practice_is_in_the_record_and_the_record_holds(ready, tmp_path):
    done = run_practice(
        ready, Wanted("T", LED, 3, records=tmp_path, disturb=KINDS), persona=load_persona("careful"),
    )
    assert done.verdict == "complete" and not done.problems
    assert any(f.KIND == "recovered" for f in done.facts)


class AsTyped(TypedTrainee):
    """Types what a careful operator would say, who sees none of the mishaps. `hasty`: before a wipe can be done."""

    def __init__(self, world, stage, brief=True, hasty=False):
        super().__init__(world, [], stage, brief)
        person = load_persona("careful")
        if hasty:
            person = person.model_copy(update={"errors": person.errors.model_copy(update={"claims_early": 1.0, "early_part": 0.1})})
        self.inner = Operator(person, EnclosureSim(world.plan, 1), 1, brief=brief)

    def hear(self, text, ended_ms, role=""):
        super().hear(text, ended_ms, role)
        self.inner.hear(text, ended_ms, role)

    def sounding(self, now_ms):
        self.inner.sounding(now_ms)

    def _take(self, now_ms):
        said = self.inner.next_action(now_ms)
        return said.text if said else ""

    def next_ms(self):
        return min(at for at in (super().next_ms(), self.inner.next_ms(), 10**12) if at is not None)


def test_somebody_who_types_sees_a_mishap_when_it_happens_and_is_scored_by_it(ready, tmp_path):
    seen = []
    done = run_practice(
        ready, Wanted("T", ASSESSMENT, 1, mishaps=2, words=("torn_glove",), records=tmp_path, show=seen.append), typed=AsTyped,
    )
    assert done.verdict == "complete" and len(seen) == 2 and all("glove" in text for text in seen), seen
    assert any("was never said" in m.text for part in done.score.parts for m in part.moments)


@pytest.mark.parametrize("level_name", [LED, PROMPTED, RECALL, ASSESSMENT])
def test_what_is_typed_is_held_against_the_enclosure_in_either_wording(ready, tmp_path, level_name):
    def run(hasty):
        return run_practice(
            ready, Wanted("T", level_name, 1, records=tmp_path),
            typed=lambda world, stage: AsTyped(world, stage, level(level_name).brief, hasty),
        )

    done, rushed = run(False), run(True)
    assert done.verdict == "complete" and not done.log.untrue and not done.log.breaches
    states = {cell.surface: cell.state for cell in cells(done.world, done.ended_ms)}
    assert set(states.values()) <= {DONE, WET_NOW}, states
    assert len(rushed.log.untrue) > 5 and rushed.score.critical


@pytest.mark.parametrize("brief", [False, True])
def test_a_wipe_that_a_rewet_came_before_is_taken_up_again_with_the_time_spent_on_it(plan, brief):
    world, step = EnclosureSim(plan, 1), next(s for s in plan.steps if s.surface == "right_tray" and s.agent == "decontaminant")
    trainee = TypedTrainee(world, [], brief=brief)
    told = step.brief if brief else f"{step.say} {say('en', 'say_confirm_wet', confirm='affirmative')}"
    need_ms = world.duration_ms(u.Action(u.WET, "right_tray"))
    trainee.hear(told, 0)
    trainee.hear(say("en", "rewet", name="back wall", rewetted="all wet again"), need_ms // 2)
    trainee.says("rewetted", 60_000)
    wet_now = "Wet now: inside of the window, 26 seconds left and left tray, 41 seconds left."
    trainee.hear(f"{say('en', 'returned', step=step.brief if brief else step.say)} {wet_now}", 61_000)
    trainee.says("confirm", 61_000 + need_ms // 2)
    assert world.true(u.Action(u.WET, "right_tray", "decontaminant"), 61_000 + need_ms // 2) and not trainee.lapses


def test_asking_where_one_is_starts_no_wipe_anew(plan):
    world, step = EnclosureSim(plan, 1), next(s for s in plan.steps if s.surface == "right_tray" and s.agent == "decontaminant")
    trainee, need_ms = TypedTrainee(world, []), world.duration_ms(u.Action(u.WET, "right_tray"))
    trainee.hear(f"{step.say} {say('en', 'say_confirm_wet', confirm='affirmative')}", 0)
    trainee.hear(say("en", "where", step=step.say), need_ms)
    trainee.says("confirm", need_ms + 100)
    assert not trainee.lapses and world.is_wet("right_tray", need_ms + 100)


def test_a_drill_is_shown_once_and_not_before_its_time(plan):
    world, seen = EnclosureSim(plan, 1), []
    drill = draw(plan, 5, 1, words=("torn_glove",))[0]
    stage = DrillStage([drill], world, seen.append)
    stage.hear("Something else.", 0)
    stage.hear(drill.at_line.split("|")[0] + ".", 1000)
    stage.go_on(1000 + drill.after_ms - 1)
    assert not seen and stage.next_ms() == 1000 + drill.after_ms
    stage.go_on(1000 + drill.after_ms)
    stage.go_on(99_000)
    assert len(seen) == 1 and stage.happened == [(1000 + drill.after_ms, "torn_glove")]
