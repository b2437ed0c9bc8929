"""What the core asks for by itself: moves of the hands from where they are, and trays lifted again for a redo."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import pytest

from assistant.language import vocabulary as w
from assistant.language.sentences import LANGUAGES
from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import load_procedure
from assistant.procedure.model import plan as p
from assistant.session import inputs
from assistant.session.facts import lines, machine, steps, troubles
from assistant.session.order.bridges import bridge_step
from assistant.session.view import view
from tests.session.small_plan import small_plan
from tests.session.walk import Walk

WAYS = [(a, b) for a in p.REACHES for b in p.REACHES if a != b]
# How each place shows in the assistant's own words for a way.
PLACES = {"room": "room", "gauntlets": "gauntlets", "window": "window"}


@lru_cache
def shipped(name: str) -> p.Plan:
    return replace(compile_plan(load_procedure(name)), today="2026-01-05")


def _touched(walk: Walk, surface: str) -> None:
    """A finished surface was touched; the one that is meant is said by its number."""
    walk.say("touched", after=1_000)
    assert surface in walk.state.which
    walk.pick(surface)


@pytest.mark.parametrize(("here", "there"), WAYS)
def test_a_move_is_told_in_the_sites_words_for_just_that_way(here, there):
    texts = {f"{a}>{b}": f"From {a} to {b}." for a, b in WAYS}
    assert bridge_step(small_plan(move_says=texts), f"bridge:move:{there}", here).say == f"From {here} to {there}."


@pytest.mark.parametrize(("here", "there"), WAYS)
def test_without_the_sites_words_a_move_names_where_from_and_where_to(here, there):
    other = {f"{a}>{there}": "the wrong way" for a in p.REACHES if a not in (here, there)}
    said = bridge_step(small_plan(move_says=other), f"bridge:move:{there}", here).say
    assert PLACES[here] in said and PLACES[there] in said
    assert f"bridge_move_{here}_{there}" in LANGUAGES["ko"]


def test_from_the_window_the_gloves_are_changed_before_the_hands_go_into_the_gauntlets():
    walk = Walk(shipped("gb-2-rigorous-clean")).go("window_first.window_frame")
    assert walk.state.hands == "window"
    _touched(walk, "left_sleeve")
    walk.go("bridge:move:gauntlets")
    assert walk.of(lines.LineSpoken)[-1].text.startswith(
        "Take both hands out of the window. Change your outer gloves. Put both hands into the gauntlets.")


@pytest.mark.parametrize("at", ["under_right.first.right_well", "sleeves_done", "all_clean", "waste.outside.bag_out"])
def test_what_lies_under_a_tray_that_is_down_is_wiped_again_only_with_the_tray_lifted(at):
    walk = Walk(shipped("gb-2-rigorous-clean")).go(at)
    assert walk.state.openings["under_left_tray"] == "closed"
    begun = len(walk.facts)
    _touched(walk, "left_well")
    assert walk.finish() == "complete"
    later = walk.facts[begun:]
    lifted, wiped = "closed", 0
    for fact in later:
        if isinstance(fact, machine.OpeningMoved) and fact.opening == "under_left_tray":
            lifted = fact.to
        elif isinstance(fact, steps.StepStarted) and fact.step.startswith("under_left.") and fact.step.endswith(".left_well"):
            wiped += 1
            assert lifted == "open", f"{fact.step} is asked for with the tray down"
    assert wiped == 2 and lifted == "closed"  # decontaminated, disinfected; and put back


def test_a_tray_is_down_again_before_anything_goes_out_past_it():
    walk = Walk(shipped("gb-2-rigorous-clean")).go("sleeves_done")
    _touched(walk, "left_well")
    walk.go("waste.inside.open_inner")
    assert walk.state.openings["under_left_tray"] == "closed"
    assert "bridge:close:under_left_tray" in [f.step for f in walk.of(steps.StepConfirmed)]


def test_after_a_break_and_on_the_screen_trays_count_only_where_they_are_lifted():
    light = Walk(shipped("gb-2-light-clean")).go("disinfect.left_tray")
    light.give(inputs.Recover(5_000, "crash"))
    asked = light.of(troubles.Recovered)[-1].questions
    assert not [q for q in asked if "under_" in q] and "opening:outer_door" in asked
    assert "under_left_tray" not in [o.id for o in view(light.plan, light.state).openings]
    down = Walk(shipped("gb-2-rigorous-clean")).go("sleeves_done")
    down.give(inputs.Recover(5_000, "crash"))
    assert not [q for q in down.of(troubles.Recovered)[-1].questions if "under_" in q]
    rigorous = Walk(shipped("gb-2-rigorous-clean")).go("under_left.first.left_well")
    rigorous.give(inputs.Recover(5_000, "crash"))
    assert "opening:under_left_tray" in rigorous.of(troubles.Recovered)[-1].questions
    while rigorous.mode == "recover":
        found_down = rigorous.state.questions[0] == "opening:under_left_tray"
        rigorous.say(w.NO if found_down else w.CONFIRM, after=1_000)
    assert rigorous.state.openings["under_left_tray"] == "closed"
    assert rigorous.step == "bridge:open:under_left_tray"


def test_the_last_move_is_told_as_it_was_when_it_is_asked_about_or_taken_back():
    texts = {"room>gauntlets": "Gloves clean. Hands in.", "window>gauntlets": "From the window."}
    walk = Walk(small_plan(move_says=dict(reversed(texts.items())))).go("wet-back")
    walk.say("torn_glove", after=1_000)
    walk.go("bridge:move:gauntlets")
    assert "Gloves clean. Hands in." in walk.of(lines.LineSpoken)[-1].text
    walk.yes()
    walk.say(w.CORRECTION, after=500)
    assert "Taken back: Gloves clean. Hands in." in [f.text for f in walk.of(lines.LineSpoken)]
