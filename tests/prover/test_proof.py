"""Shipped procedures are proven; what the proof says of itself is true."""

from __future__ import annotations

import pytest

from assistant.procedure.loading.load import load_procedure, procedure_names
from assistant.prover import proof as proof_module
from assistant.prover.bounds import Bounds
from assistant.prover.proof import NothingVisited, prove_plan, prove_procedure, slices_for
from assistant.prover.properties import PROPERTIES
from assistant.prover.requirements import of_files
from assistant.prover.search import Search
from tests.prover.support import QUICK, shipped


def test_the_smallest_shipped_procedure_is_proven_with_mishaps_two_deep():
    proof = prove_procedure(load_procedure("gb-2-start-of-day"), processes=1)
    assert proof.proven and proof.counterexample is None
    assert set(proof.properties) == set(PROPERTIES) and "refuted" not in proof.properties.values()
    assert proof.states > 1_000 and proof.transitions > proof.states
    assert proof.ends["complete"] and proof.ends["stopped"] and proof.ends["left"]
    assert "at most 2 mishaps" in proof.bounded


@pytest.mark.parametrize("name", [n for n in procedure_names() if n != "gb-2-start-of-day"])
def test_every_answer_of_every_other_shipped_procedure_holds(name):
    plan, need = shipped(name)
    proof = prove_plan(plan, need, bounds=Bounds(depth=0, moments=0), processes=1, name=name)
    assert proof.proven, proof.counterexample


@pytest.mark.full
@pytest.mark.timeout(1200)
@pytest.mark.parametrize("name", procedure_names())
def test_every_shipped_procedure_is_proven(name):
    proof = prove_procedure(load_procedure(name))
    assert proof.proven, proof.counterexample
    assert proof.ends["complete"]


def test_a_proof_that_visits_nothing_fails(monkeypatch):
    plan, need = shipped("gb-2-start-of-day")
    monkeypatch.setattr(proof_module, "slices_for", lambda *_: [])
    with pytest.raises(NothingVisited):
        prove_plan(plan, need, processes=1)



def test_every_set_of_answers_is_searched_and_every_step_gets_its_mishaps():
    plan, _ = shipped("gb-2-rigorous-clean")
    slices = slices_for(plan)
    assert len({s.options for s in slices}) == 8
    assert {s.id for s in plan.steps} <= set().union(*(s.at_steps for s in slices))


def test_two_processes_find_what_one_finds():
    plan, need = shipped("gb-2-start-of-day")
    one, two = (prove_plan(plan, need, bounds=QUICK, processes=n) for n in (1, 2))
    assert one.proven and two.proven
    assert set(one.ends) == set(two.ends)


def test_a_search_that_runs_out_of_room_claims_nothing():
    plan, need = shipped("gb-2-end-of-day")
    proof = prove_plan(plan, need, bounds=Bounds(depth=1, moments=1, most_states=300), processes=1)
    assert not proof.proven and set(proof.properties.values()) == {"open"}


def test_requirements_are_read_off_the_files_not_the_plan():
    loaded = load_procedure("gb-2-end-of-day")
    need = of_files(loaded)
    assert need.cycles["purge"].floor_ms == 100_000  # gb-2.yaml: 100 s, above the formula's 94 s
    assert need.contact_ms["disinfectant"] == 120_000  # northmere.yaml: the label's 2 min
    assert need.openings["inner_door"].read_back and not need.openings["outer_door"].read_back
    assert need.openings["window"].chamber and need.fans == {"fan"}


def test_a_run_can_end_only_in_the_four_ways_the_core_knows():
    plan, need = shipped("gb-2-start-of-day")
    result = Search(plan, need, {}, QUICK).run()
    assert set(result.ends) <= {"complete", "incomplete", "stopped", "left"}
