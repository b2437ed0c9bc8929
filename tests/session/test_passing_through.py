"""A thing is put through a door, a port or the window only while that is open, after whatever went wrong (common
practice, no source: nothing goes through a shut door)."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import pytest

from assistant.language import vocabulary as w
from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import load_procedure
from assistant.procedure.model import plan as p
from assistant.session import inputs
from assistant.session.facts import machine, steps, troubles
from tests.session.walk import Walk

# What is put through which opening, by the last part of a step's name, read off the site's paper.
THROUGH = {
    "put_in": "outer_door", "take_in": "inner_door", "hang_in": "outer_door", "bag_into_airlock": "inner_door",
    "bag_out": "outer_door", "drop_bag": "port_cover", "cut_off": "liner_clamp", "new_liner": "liner_clamp",
    "window_wipes_in": "window", "reach_in": "window", "reach_out": "window",
}
CASES = [
    ("gb-2-light-clean", "load.hang_in"), ("gb-2-light-clean", "load.close_inner"),
    ("gb-2-light-clean", "waste.bag_into_airlock"), ("gb-2-light-clean", "waste_out.bag_out"),
    ("gb-2-end-of-day", "load.put_in"), ("gb-2-end-of-day", "load.take_in"),
    ("gb-2-end-of-day", "waste.inside.bag_into_airlock"), ("gb-2-end-of-day", "waste.outside.bag_out"),
    ("gb-2-rigorous-clean", "reach_in"), ("gb-2-rigorous-clean", "window_wipes_in"),
    ("gb-2-rigorous-clean", "reach_out"),
    ("pi-1-under-work-surface", "load.put_in"), ("pi-1-under-work-surface", "load.take_in"),
    ("pi-1-under-work-surface", "waste.drop_bag"), ("pi-1-under-work-surface", "waste.cut_off"),
    ("pi-1-under-work-surface", "waste.new_liner"),
]


@lru_cache
def shipped(name: str) -> p.Plan:
    return replace(compile_plan(load_procedure(name)), today="2026-01-05")


def _shut_when_asked_for(walk: Walk, begun: int) -> list[str]:
    """Steps that were asked for since `begun` while what they lead through was shut."""
    at = {o.id: o.at_start for o in walk.plan.openings.values()}
    found = []
    for i, fact in enumerate(walk.facts):
        if isinstance(fact, machine.OpeningMoved):
            at[fact.opening] = fact.to
        elif isinstance(fact, steps.StepStarted) and i >= begun:
            way = THROUGH.get(fact.step.rpartition(".")[2])
            if fact.step == "load.close_inner" and not any(s.id == "load.take_in" for s in walk.plan.steps):
                way = "inner_door"  # this one also brings everything in
            if way and at[way] != "open":
                found.append(f"{fact.step} with {way} {at[way]}")
    return found


def _to(name: str, at: str) -> Walk:
    plan = shipped(name)
    assert {s.id.rpartition(".")[2] for s in plan.steps} & THROUGH.keys()
    return Walk(plan).go(at)


@pytest.mark.parametrize(("name", "at"), CASES)
def test_after_a_pressure_alarm_nothing_is_put_through_a_shut_door(name: str, at: str):
    walk = _to(name, at)
    begun = len(walk.facts)
    walk.say("pressure_alarm", after=1_000)
    assert walk.finish() == "complete"
    assert _shut_when_asked_for(walk, begun) == []
    assert [f for f in walk.facts[begun:] if isinstance(f, steps.StepStarted) and f.step == at]


@pytest.mark.parametrize(("name", "at"), CASES)
def test_found_shut_after_a_break_it_is_opened_again_first(name: str, at: str):
    walk = _to(name, at)
    begun = len(walk.facts)
    walk.give(inputs.Recover(5_000, "crash"))
    found_shut = 0
    while walk.mode == "recover":
        kind, _, subject = walk.state.questions[0].partition(":")
        is_open = kind == "opening" and walk.state.openings[subject] == "open"
        found_shut += is_open
        walk.say(w.NO if is_open else w.CONFIRM, after=1_000)
    assert found_shut == 1 and walk.of(troubles.Recovered)
    assert walk.finish() == "complete"
    assert _shut_when_asked_for(walk, begun) == []
    assert [f for f in walk.facts[begun:] if isinstance(f, steps.StepStarted) and f.step == at]


@pytest.mark.parametrize(("name", "surface"), [
    ("gb-2-light-clean", "left_tray"), ("gb-2-rigorous-clean", "window_frame"), ("pi-1-under-work-surface", "left_sump"),
])
def test_done_again_at_the_very_end_the_bag_goes_its_whole_way_through_open_doors(name: str, surface: str):
    walk = _to(name, "pressure_after")
    begun = len(walk.facts)
    walk.say("touched", after=1_000)
    walk.pick(surface)
    assert walk.finish() == "complete"
    assert _shut_when_asked_for(walk, begun) == []
