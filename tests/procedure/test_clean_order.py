"""The order of a rigorous clean: what the later work passes over, or the room reached, is wiped after it (common
practice, no source; the four steps in their order: USP <800>, from memory)."""

from __future__ import annotations

import itertools

import pytest

from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import load_procedure
from assistant.procedure.model.plan import CYCLE, WET

PLAN = compile_plan(load_procedure("gb-2-rigorous-clean"))


def _line(**answers):
    return [s for s in PLAN.steps if all(answers.get(w.option) == w.equals for w in s.when)]


LINES = [
    _line(**dict(zip([o.id for o in PLAN.options], answers, strict=True)))
    for answers in itertools.product((True, False), repeat=len(PLAN.options))
]


def _zone(step):
    return PLAN.surfaces[step.surface].zone if step.kind == WET else ""


@pytest.mark.parametrize("line", LINES)
def test_each_zone_is_begun_in_the_order_of_the_work(line):
    begun = list(dict.fromkeys(z for s in line if (z := _zone(s))))
    wanted = ["outside", "airlock", "work_area", "under_trays", "sleeves", "window_edge"]
    assert begun == [z for z in wanted if z in begun]


@pytest.mark.parametrize("line", LINES)
def test_the_work_area_and_the_sleeves_are_disinfected_after_trays_and_window(line):
    last_dirty = max(i for i, s in enumerate(line) if _zone(s) in ("under_trays", "window_edge"))
    after = {s.surface for s in line[last_dirty:] if s.kind == WET and s.agent == "disinfectant"}
    assert {s.id for s in PLAN.surfaces.values() if s.zone in ("work_area", "sleeves")} <= after


@pytest.mark.parametrize("line", LINES)
def test_after_the_waste_only_the_airlock_is_wiped_then_the_run_up_starts(line):
    ids = [s.id for s in line]
    out = ids.index("waste.outside.bag_out")
    later = [s for s in line[out:] if s.kind in (WET, CYCLE)]
    assert [s.surface or s.cycle for s in later] == ["airlock_walls", "airlock_floor", "run_up"]


@pytest.mark.parametrize("line", LINES)
def test_no_bag_leaves_by_the_open_window(line):
    at = [i for i, s in enumerate(line) if s.kind == "open" and s.opening == "window"]
    if at:
        shut = next(i for i, s in enumerate(line) if s.kind == "close" and s.opening == "window")
        assert not any("bag" in s.say.lower() and "out" in s.say.lower().split() for s in line[at[0]:shut])
        bagged = next(i for i, s in enumerate(line) if s.id == "waste.bagged.close_bag")
        assert bagged > shut
