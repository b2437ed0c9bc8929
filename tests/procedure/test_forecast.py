"""Forecast: the critical path by hand on a small line, the core's own clock as the judge, the same seed the same."""

from __future__ import annotations

import pytest

from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import load_procedure, procedure_names
from assistant.procedure.model.plan import Plan, Step, Surface
from assistant.procedure.paper.forecast import forecast
from assistant.procedure.paper.run_times import run_times
from tests.procedure.plan_runner import run_plan


def _plan(*steps: Step) -> Plan:
    surfaces = {s: Surface(s, s, "z") for s in ("a", "b")}
    return Plan("p", "P", "1", "", "s", "e", "E", "en", surfaces, {}, {}, (), tuple(steps), {})


def _wet(surface: str, contact_s: int, expected_s: int) -> Step:
    return Step(
        f"wet-{surface}",
        "wet",
        "Wipe.",
        surface=surface,
        contact_ms=contact_s * 1000,
        expected_ms=expected_s * 1000,
    )


def test_critical_path_by_hand():
    # By hand (listening 6 s): wet a 0-26, contact to 146; b 26-52, contact to 82; tidy 52-62; wait 62-146; end 146-156.
    plan = _plan(
        _wet("a", 120, 20),
        _wet("b", 30, 20),
        Step("tidy", "instruct", "", expected_ms=10_000),
        Step("wait", "wait", "", wait_for=("*",)),
        Step("end", "instruct", "", expected_ms=10_000),
    )
    times = run_times(plan.steps, plan)
    assert [(t.start_ms // 1000, t.end_ms // 1000) for t in times] == [
        (0, 26),
        (26, 52),
        (52, 62),
        (62, 146),
        (146, 156),
    ]
    f = forecast(plan)
    assert f.expected_ms == 156_000 and f.waiting_ms == 84_000
    assert f.critical == ("wet-a", "wait", "end")
    assert f.slack_ms == {"wet-b": 84_000, "tidy": 84_000}


@pytest.mark.parametrize("name", procedure_names())
def test_the_estimate_agrees_with_the_core_run_at_the_same_pace(name):
    # The judge is the core itself, driven by a technician who keeps exactly to the estimates.
    plan = compile_plan(load_procedure(name))
    f = forecast(plan)
    ran = run_plan(plan, f.options).state.now_ms
    assert f.expected_ms == pytest.approx(ran, rel=0.15)


def test_the_same_seed_gives_the_same_and_the_90_percent_lies_above_the_median():
    plan = compile_plan(load_procedure("gb-2-light-clean"))
    assert forecast(plan, seed=7, runs=200) == forecast(plan, seed=7, runs=200)
    f = forecast(plan, runs=200)
    assert f.median_ms < f.p90_ms
    assert 0 < f.waiting_share < 1


def test_without_spread_in_the_line_nothing_is_waiting():
    plan = _plan(Step("one", "instruct", "", expected_ms=5_000))
    f = forecast(plan, runs=50)
    assert f.waiting_ms == 0 and f.expected_ms == 5_000 and f.critical == ("one",)
