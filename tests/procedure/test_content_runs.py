"""Every shipped procedure, with every combination of answers, runs to a complete end in the real core."""

from __future__ import annotations

import itertools

import pytest

from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import load_procedure, procedure_names
from assistant.procedure.model.plan import WET
from tests.procedure.plan_runner import run_plan

NAMES = procedure_names()


def _option_sets(plan):
    return [
        dict(zip([o.id for o in plan.options], answers, strict=True))
        for answers in itertools.product((True, False), repeat=len(plan.options))
    ]


@pytest.mark.parametrize("name", NAMES)
def test_every_answer_leads_to_a_complete_end_without_a_bridge(name):
    plan = compile_plan(load_procedure(name))
    for options in _option_sets(plan):
        run = run_plan(plan, options)
        assert run.state.mode == "complete", (options, run.said[-5:])
        assert run.bridges == [], (options, run.bridges)
        wanted = {
            s.surface
            for s in plan.steps
            if s.kind == WET and all(options[w.option] == w.equals for w in s.when)
        }
        assert all(run.state.surfaces[s] == "clean" for s in wanted), options


@pytest.mark.parametrize("name", NAMES)
def test_a_mishap_in_the_middle_is_repaired_or_ends_in_a_named_stop(name):
    plan = compile_plan(load_procedure(name))
    wets = [s.id for s in plan.steps if s.kind == WET]
    middle = wets[len(wets) // 2] if wets else plan.steps[len(plan.steps) // 2].id
    options = {o.id: True for o in plan.options}
    for mishap in plan.mishaps.values():
        if not mishap.word:
            continue  # entered by an answer, never by name
        run = run_plan(plan, options, trouble={middle: mishap.word})
        wanted = {"resume": "complete", "stop": "stopped", "leave": "left"}[mishap.then]
        assert run.state.mode == wanted, (mishap.word, run.state.mode, run.said[-6:])
