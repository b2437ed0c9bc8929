"""A virtual operator works a whole clean through with only the inputs a person has."""

from __future__ import annotations

import inspect

import pytest

from assistant.errors import SiteFileError
from assistant.practice.enclosure.simulated import EnclosureSim
from assistant.practice.operator.channel import Channel
from assistant.practice.operator.demo import ANSWERS, demo_cues, demo_room
from assistant.practice.operator.person import Operator
from assistant.practice.operator.persona import VoiceData, load_persona, persona_names, read_persona
from assistant.practice.operator.voice import OperatorVoice
from assistant.practice.simulate import Simulation
from assistant.speaking.noise import active_speech_dbfs, rms_dbfs


def work(plan, *, words=None, cues=(), seed=3, persona="careful"):
    person = load_persona(persona)
    operator = Operator(person, EnclosureSim(plan, seed), seed, answers=ANSWERS, cues=cues, words=words)
    return Simulation(plan, operator, Channel(person.errors, seed), longest_ms=3_600_000).run()


def kinds(run):
    return [f.KIND for f in run.facts]


def test_it_is_told_text_and_time_and_nothing_else():
    assert list(inspect.signature(Operator.hear).parameters) == ["self", "text", "ended_ms", "role"]
    assert list(inspect.signature(Operator.next_action).parameters) == ["self", "now_ms"]


def test_a_careful_operator_completes_the_light_clean_with_its_one_rewetting(plan):
    run = work(plan)
    assert run.state.verdict == "complete" and "rewet_confirmed" in kinds(run) and "deviation" not in kinds(run)


def test_the_demo_has_a_refusal_a_correction_a_mishap_and_still_completes(plan):
    run = work(plan, cues=demo_cues())
    assert run.state.verdict == "complete"
    assert any(f.KIND == "heard" and not f.accepted and "warm" in f.said for f in run.facts)
    assert {"correction_made", "branch_entered", "deviation", "rewet_confirmed"} <= set(kinds(run))


def test_a_missed_rewetting_is_a_deviation_and_done_again(plan):
    run = work(plan, cues=demo_cues(missed_rewet=True))
    assert run.state.verdict == "complete"
    assert any(f.KIND == "deviation" and f.code == "dried_contact" for f in run.facts)


def test_two_swapped_words_change_the_record(plan):
    plain, swapped = work(plan, cues=demo_cues()), work(
        plan, cues=demo_cues(), words={"correction": "dropped item", "dropped_item": "i got that wrong"},
    )
    assert [type(f).KIND for f in plain.facts if f.KIND in ("correction_made", "branch_entered")] == [
        "correction_made", "branch_entered"]
    assert [type(f).KIND for f in swapped.facts if f.KIND in ("correction_made", "branch_entered")][:1] == ["branch_entered"]
    assert plain.facts != swapped.facts


def test_the_same_seed_gives_the_same_facts_and_another_seed_others(plan):
    assert work(plan).facts == work(plan).facts != work(plan, seed=4).facts


def test_the_same_seed_gives_the_same_sound_at_the_stated_ratio(plan):
    first, second = (OperatorVoice(VoiceData(snr_db=15), 5) for _ in range(2))
    speech, fan = first.say("affirmative"), first.fan(160_000)
    assert (speech == second.say("affirmative")).all() and (fan == second.fan(160_000)).all()
    assert abs(active_speech_dbfs(speech) - rms_dbfs(fan) - 15) < 1.0
    a, b = demo_room(plan, 2), demo_room(plan, 2)
    for room in (a, b):
        room.heard("Open the outer door. Say affirmative when done.", 0)
    for i in range(200):
        assert (a.block(i * 50, 800) == b.block(i * 50, 800)).all()
    assert a.utterances == b.utterances and a.utterances[0][0] == "affirmative"


def test_there_are_twelve_personas_and_all_of_them_load():
    names = persona_names()
    assert len(names) == 12 and all(load_persona(name).id == name for name in names)


@pytest.mark.parametrize(("text", "line", "word"), [
    ("id: x\ntitle: X\nerrors: {chats: 2}\n", 3, "chats"), ("id: x\ntitle: X\nvoise: {}\n", 3, "voise"),
    ("id: x\ntitle: [\n", 3, "YAML"), ("- a\n", 1, "persona"),
])
def test_a_broken_persona_is_named_with_its_line(text, line, word):
    with pytest.raises(SiteFileError) as caught:
        read_persona(text, "p.yaml")
    assert caught.value.where == f"p.yaml:{line}" and word in caught.value.what


@pytest.mark.parametrize("seed", range(6))
def test_whoever_tests_a_patch_looks_on_until_it_has_dried(under_surface, seed):
    person = load_persona("careful")
    operator = Operator(person, EnclosureSim(under_surface, seed), seed)
    run = Simulation(under_surface, operator, Channel(person.errors, seed), options=(("measure_wet_time", True),)).run()
    assert run.state.verdict == "complete"
    found = [f for f in run.facts if f.KIND == "patch_dried"]
    # The agents' file: 220 s on a floor. The word for "wet" is said some seconds after the wetting.
    assert len(found) == 1 and found[0].measured_ms > 200_000
