"""Each property is refuted by a fault made for it by hand, and the counterexample shows the fault in the core."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from assistant.procedure.model import plan as p
from assistant.prover.monitor import Monitor
from assistant.prover.proof import prove_plan
from assistant.prover.properties import PROPERTIES
from assistant.session.decide import decide
from assistant.session.evolve import fold
from assistant.session.initial import initial
from assistant.station.script.script import parse_script
from tests.prover.support import QUICK, shipped, with_mishap, with_opening, with_step, without_step

UNDER = "pi-1-under-work-surface"
START, END = "gb-2-start-of-day", "gb-2-end-of-day"


def _no_interlock(plan):
    plan = replace(plan, interlocks=())
    for name in ("outer_door", "inner_door"):
        plan = with_opening(plan, name, opens_when=())
    return plan


def _fan_off_with_the_window_open(plan):
    steps = (
        p.Step("open_window", p.OPEN, "Open the window.", opening="window", policy=p.READ_BACK, claim="it is open"),
        p.Step("fan_off", p.MACHINE, "Switch the fan off.", machine="fan", machine_value="off"),
    )
    return replace(plan, steps=(*plan.steps, *steps))


def _waste_never_owed(plan):
    return replace(plan, steps=tuple(replace(s, after_wiping=False) for s in plan.steps))


def _closed_twice(plan):
    at = next(i for i, step in enumerate(plan.steps) if step.id == "load.close_outer")
    return replace(plan, steps=(*plan.steps[: at + 1], replace(plan.steps[at], id="load.close_again"), *plan.steps[at + 1 :]))


def _plates_not_required(plan):
    return replace(plan, steps=tuple(
        replace(s, requires=tuple(c for c in s.requires if c.subject not in ("under_left_plate", "under_right_plate")))
        for s in plan.steps))


# (property, base, the plan with its fault)
CASES = {
    "no_dead_end": (START, lambda plan: with_step(
        with_step(plan, "light_on", requires=(p.Cond("step", "fan_runs", "done"),)), "fan_runs",
        requires=(p.Cond("step", "light_on", "done"),))),
    "nothing_missing": (START, lambda plan: without_step(plan, "before.certified")),
    "waste_out": (END, _waste_never_owed),
    "end_state": (START, lambda plan: replace(without_step(plan, "light_on"), end_machines={})),
    "interlock": (END, _no_interlock),
    "opening_conditions": (END, lambda plan: with_opening(plan, "inner_door", opens_when=())),
    "read_back": (END, lambda plan: with_step(plan, "load.open_inner", policy=p.SINGLE)),
    "hands": (END, lambda plan: with_step(without_step(plan, "load.hands_in"), "load.open_inner", reach="")),
    "way_open": (UNDER, _plates_not_required),
    "fan": (START, _fan_off_with_the_window_open),
    "contact_time": (END, lambda plan: with_step(plan, "decontaminate.left_tray", contact_ms=59_000)),
    "cycle_time": (START, lambda plan: replace(
        plan, cycles={**plan.cycles, "run_up": replace(plan.cycles["run_up"], duration_ms=599_000)})),
    "waits_kept": (START, lambda plan: with_step(plan, "run_up_over", wait_for=())),
    "redo": (END, lambda plan: with_mishap(plan, "torn-glove", spoils=())),
    "mishap_steps": (START, lambda plan: with_mishap(plan, "torn-glove", steps=())),
    "values": (START, lambda plan: with_step(plan, "fan_runs", on_no="deviate")),
    "limits": (END, lambda plan: with_opening(plan, "outer_door", max_open_ms=0)),
    "nothing_idle": (END, _closed_twice),
    "stands_alone": (END, lambda plan: without_step(plan, "load.hands_in")),
}
# What no plan alone can break: the core has to (`tests/bench/prover/mutants/core_faults.py`, run by `test_mutants`).
OF_THE_CORE = {"core_holds", "can_finish", "answerable", "person_first", "urgent_only", "dried_owed"}


def test_every_property_has_a_fault_made_for_it():
    assert set(CASES) | OF_THE_CORE == set(PROPERTIES)


@pytest.mark.parametrize("prop", CASES)
def test_the_fault_is_refuted_by_a_counterexample_that_replays(prop):
    base, fault = CASES[prop]
    original, need = shipped(base)
    plan = fault(original)
    proof = prove_plan(plan, need, bounds=QUICK, processes=1)
    example = proof.counterexample
    assert not proof.proven and example is not None
    assert example.prop == prop, example.text
    assert len(example.words) == len(example.script) == len(example.path)
    assert re.match(r'".+" \(procedures/.+\.yaml:\d+\)', example.step) or "which the core puts in" in example.step \
        or prop == "fan"  # its steps are made by hand and stand in no file
    assert not re.search(r"(?<![\w.])(?:load|before|waste|decontaminate)\.\w+", example.text + example.step)  # never an id

    # The script, read by the station's own reader, leads the real core to the same breach and not before its end.
    inputs = list(parse_script(example.script))
    assert tuple(inputs) == example.path
    monitor, state, found = Monitor(plan, need), initial(plan), []
    truth = monitor.start()
    for number, (at_ms, given) in enumerate(inputs, 1):
        assert not found, f"broken before its last input, at {number}"
        facts = decide(plan, state, given, at_ms)
        state = fold(state, facts)
        truth, found = monitor.follow(truth, facts, state.now_ms)
    assert prop in [name for name, _ in found] or prop == "stands_alone"


def test_a_dead_end_names_the_step_that_nothing_leads_on_to():
    base, fault = CASES["no_dead_end"]
    plan, need = shipped(base)
    example = prove_plan(fault(plan), need, bounds=QUICK, processes=1).counterexample
    assert re.fullmatch(r'nothing leads on to ".+" \(procedures/.+gb-2-start-of-day\.yaml:\d+\)', example.text)


def test_a_step_that_the_plan_lacks_is_told_in_the_file_s_words():
    plan, need = shipped(START)
    example = prove_plan(without_step(plan, "before.certified"), need, bounds=QUICK, processes=1).counterexample
    assert re.search(r'".+" \(procedures/parts/before-the-start\.yaml:\d+\) is missing', example.text)


def test_a_move_is_told_as_what_it_is():
    plan, need = shipped(END)
    example = prove_plan(without_step(plan, "load.hands_in"), need, bounds=QUICK, processes=1).counterexample
    assert '"Move the hands into the gauntlets"' in example.text and "outer gloves" not in example.text
