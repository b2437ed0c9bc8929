"""A surface that dries time and again is asked about before it is wetted once more."""

from __future__ import annotations

from dataclasses import replace

import pytest

from assistant.language import vocabulary as w
from assistant.procedure.model import plan as p
from assistant.session import inputs
from assistant.session.facts import contacts, lines, session, steps, troubles
from tests.session.walk import Walk
from tests.session.wall_plan import look, wall, walls

PATCH = p.Step("patch", p.PATCH, "Wet a patch.", surface="back", agent="alcohol", wet_ms=90_000, reach="")
WALL = wall("back", 100_000, 40_000, 15_000)


def _dried(times: int, *before: p.Step, **changes: object) -> Walk:
    """The back wall has dried `times` times in a row, each time because its re-wet was missed."""
    walk = Walk(walls(*before, WALL, look(), **changes))
    for _ in before:
        walk.yes()
        walk.yes(60_000)
    for _ in range(times):
        assert walk.step == "wet-back", walk.mode
        walk.say(w.CONFIRM, after=5_000)
        while walk.state.contacts:
            walk.after(1_000)
        if walk.mode == "step" and walk.step == "look":
            walk.yes()  # the look lies between; the wall is owed and comes next
    return walk


def test_it_is_asked_after_so_many_dryings_and_not_one_sooner():
    assert _dried(2).mode == "step" and _dried(2).step == "wet-back"
    walk = _dried(3)
    assert walk.mode == "which" and walk.state.which == ("smaller", "stop")
    made = [f for f in walk.of(troubles.Deviation) if f.code == "dries_repeatedly"]
    assert [f.about for f in made] == ["back"]
    assert made[0].text == ("The back wall has dried 3 times before its time was over. It may be the agent, the airflow, "
                            "or too large an area.")
    assert walk.of(lines.LineSpoken)[-1].text == (
        "What shall we try? 1: smaller areas. 2: safe stop. Say the number, or cancel that to go on as before.")


@pytest.mark.parametrize("most", [1, 2, 5, 0])
def test_the_site_sets_how_often(most: int):
    walk = _dried(most or 6, ask_after_dryings=most)
    assert (walk.mode == "which") is bool(most)


@pytest.mark.parametrize(("number", "chosen"), [("1", "smaller"), (None, "go_on")])
def test_going_on_wets_the_surface_again_and_counts_anew(number: str | None, chosen: str):
    walk = _dried(3)
    walk.value(number, 1_000) if number else walk.say(w.CANCEL, after=1_000)
    assert [f.remedy for f in walk.of(contacts.RemedyChosen)] == [chosen]
    assert walk.mode == "step" and walk.step == "wet-back" and not walk.state.dryings
    assert walk.finish() == "complete"


def test_a_patch_test_is_done_again_where_the_run_has_one_and_sets_todays_time():
    walk = _dried(3, PATCH)
    assert walk.state.which == ("patch", "smaller", "stop")
    walk.value("1", 1_000)
    assert walk.mode == "step" and walk.step == "patch" and [f.step for f in walk.of(steps.StepOwed)][-1] == "patch"
    walk.yes()
    walk.yes(30_000)
    assert walk.state.patch_ms and set(walk.state.patch_ms.values()) == {30_000} and walk.step == "wet-back"


def test_a_patch_too_short_for_any_wetting_in_time_is_asked_about_once():
    """The wall is to be wetted again 15 s before it dries: at 15 s no request could come in time, at 16 s one can."""
    for took, asked in ((4_000, True), (15_000, True), (15_001, False), (16_000, False)):
        walk = Walk(walls(PATCH, WALL, look()))
        walk.yes()
        walk.say(w.CONFIRM, after=took)
        assert bool(walk.of(steps.ClaimQuestioned)) is asked and bool(walk.state.patch_ms) is not asked, took
    walk = Walk(walls(PATCH, WALL, look()))
    walk.yes()
    walk.say(w.CONFIRM, after=4_000)
    walk.say(w.NO)
    walk.yes(60_000)
    assert set(walk.state.patch_ms.values()) == {64_000}  # from the word for wet to the last word
    walk = Walk(walls(PATCH, WALL, look()))
    walk.yes()
    walk.say(w.CONFIRM, after=4_000)
    walk.say(w.CONFIRM, after=3_000)
    assert walk.state.patch_ms and [f.code for f in walk.of(troubles.Deviation)] == ["patch_short"]


def test_who_asks_where_they_are_while_the_patch_dries_is_not_told_to_wet_it():
    walk = Walk(walls(PATCH, WALL, look()))
    walk.yes()
    told = walk.say(w.WHERE, after=5_000)[-1].text
    assert told == "Say affirmative when the patch has dried."
    assert "Wet a patch" not in told


def test_a_safe_stop_can_be_chosen_and_called_off():
    walk = _dried(3)
    walk.value("2", 1_000)
    assert walk.mode == "stopping" and walk.of(session.StopBegun)
    walk.say(w.CANCEL, after=1_000)
    assert walk.mode == "step" and walk.step == "wet-back"
    walk = _dried(3)
    walk.value("2", 1_000)
    walk.say(w.CONFIRM, after=1_000)
    assert walk.state.verdict == "stopped"


def test_an_odd_number_is_asked_for_again_and_other_words_stay_what_they_are():
    walk = _dried(3)
    walk.value("7", 1_000)
    assert walk.mode == "which" and not walk.of(contacts.RemedyChosen)
    assert walk.say(w.REPEAT, after=500)[-1].text.startswith("What shall we try?")
    walk.say("wipe_reused", after=500)
    assert walk.mode != "which" or not walk.of(contacts.RemedyChosen)
    walk = _dried(3)
    walk.give(inputs.Recover(5_000))
    assert walk.mode == "recover"
    walk.finish()


def test_a_surface_that_was_finished_in_between_counts_from_nothing():
    walk = _dried(2)
    walk.say(w.CONFIRM, after=5_000)
    while walk.mode != "rewet":
        walk.after(1_000)
    walk.say(w.REWETTED, after=2_000)
    while walk.state.contacts:
        walk.cooperate(1_000)
    assert not walk.state.dryings and walk.state.surfaces["back"] == "clean"


def test_drying_under_the_wipe_counts_too():
    walk = Walk(walls(wall("back", 100_000, 40_000, 15_000), look()))
    walk.at(119_999)
    assert walk.mode == "step"
    walk.at(120_000)
    assert walk.mode == "which"


def test_a_wipe_used_twice_is_about_the_surface_wiped_last_though_it_has_dried():
    reused = p.Mishap("reused", "wipe_reused", "wipe used twice", (), (p.Spoil(p.SPOIL_CURRENT),))
    plan = walls(wall("left", 20_000, 300_000), wall("back", 100_000, 40_000, 15_000), look(), look("more"),
                 mishaps={"reused": reused})
    walk = Walk(plan)
    walk.say(w.CONFIRM, after=5_000)
    walk.say(w.CONFIRM, after=5_000)
    walk.at(51_000)
    assert walk.state.surfaces == {"left": "clean", "back": "dirty"}
    walk.say("wipe_reused", after=500)
    assert walk.state.surfaces["left"] == "clean", "the wall before it has nothing to do with it"


def test_a_wipe_used_twice_while_wetting_again_spoils_the_surface_wetted_again():
    reused = p.Mishap("reused", "wipe_reused", "wipe used twice", (), (p.Spoil(p.SPOIL_CURRENT),))
    for at, word in ((26_000, ""), (30_000, w.REWETTED)):
        plan = walls(WALL, look(), wall("left", 20_000, 300_000), mishaps={"reused": reused})
        walk = Walk(plan)
        walk.say(w.CONFIRM, after=5_000)
        walk.at(at)
        if word:
            walk.say(word)
        walk.say("wipe_reused", after=500)
        assert walk.state.surfaces["back"] == "spoiled" and "wet-back" not in walk.state.main.done


def test_what_drips_or_is_touched_loses_that_surface_alone():
    for finished in (False, True):
        walk = Walk(walls(wall("back", 20_000, 300_000), wall("left", 20_000, 300_000), look(), mishaps={
            "touched": p.Mishap("touched", "touched", "touched", (), (p.Spoil(p.SPOIL_CHOSEN),))}))
        walk.say(w.CONFIRM, after=5_000)
        walk.say(w.CONFIRM, after=5_000)
        if finished:
            walk.at(40_000)
            assert set(walk.state.surfaces.values()) == {"clean"}
        walk.say("touched", after=500)
        walk.value(str(walk.state.which.index("back") + 1), 500)
        assert walk.state.surfaces["back"] == "spoiled" and walk.state.surfaces["left"] != "spoiled"
        assert "wet-back" not in walk.state.main.done and "wet-left" in walk.state.main.done


@pytest.mark.parametrize(("device", "lost", "back"), [
    ("microphone", "I can't hear you. Use the foot switch or the keys.", "The microphone is back. I can hear you again."),
    ("headset", "You may not hear me. Look at the screen, or ask the second person to.",
     "The headset is back. You can hear me again."),
    ("listening", "Listening broke off. Use the foot switch or the keys.",
     "I am listening again. Say the last word again."),
    ("keyboard", "The keyboard is gone. Use the foot switch or the keys.", "The keyboard is back."),
])
def test_a_device_that_left_and_came_back_is_told_of_as_what_it_is(device: str, lost: str, back: str):
    walk = Walk(walls(look()))
    assert walk.give(inputs.Lost(device))[-1].text == lost
    assert next(f.text for f in walk.give(inputs.Back(device)) if isinstance(f, lines.LineSpoken)) == back
    assert replace(walk.state, lost=frozenset()).lost == walk.state.lost
