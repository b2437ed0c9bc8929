"""Seeded faults: a sample by default, all of them in `full`."""

from __future__ import annotations

import pytest

from assistant.session.troubles import owing
from tests.bench.prover.mutants.core_faults import FAULTS, seeded
from tests.bench.prover.mutants.file_operators import FILE_OPERATORS
from tests.bench.prover.mutants.judge import BASES, Bases, Mutant, judge, mutants
from tests.bench.prover.mutants.operators import OPERATORS
from tests.bench.prover.mutants.side_by_side import judge_all

SAMPLE = 30


@pytest.fixture(scope="module")
def bases():
    return Bases()


def test_at_least_150_faults_are_seeded_by_every_operator(bases):
    every = list(mutants(bases))
    assert len(every) >= 150
    assert {m.name.split(": ")[1].split(" ")[0] for m in every if not m.core} == {*OPERATORS, *FILE_OPERATORS}
    assert len({m.name for m in every}) == len(every)


def test_a_sample_of_the_faults_is_refuted_or_shown_to_be_none(bases):
    every = [m for m in mutants(bases, ("gb-2-start-of-day",)) if not m.core]
    assert len(every) >= SAMPLE
    judged = [judge(bases, m) for m in every[:: len(every) // SAMPLE]]
    assert [j.name for j in judged if j.verdict == "missed"] == []
    assert sum(j.verdict == "refuted" for j in judged) >= SAMPLE * 4 // 5


def test_an_unchanged_procedure_is_not_refuted(bases):
    plan, _ = bases.get("gb-2-start-of-day")
    assert judge(bases, Mutant("unchanged", "gb-2-start-of-day", plan)).verdict == "missed"


@pytest.mark.parametrize("name", ["a cycle is complete a second early", "cycles never complete", "every value is inside its limits"])
def test_a_fault_in_the_core_is_refuted(bases, name):
    plan, _ = bases.get("gb-2-start-of-day")
    assert judge(bases, Mutant(name, "gb-2-start-of-day", plan, name)).verdict == "refuted"


@pytest.mark.parametrize(("base", "operator", "prop"), [
    ("gb-2-end-of-day", "waste_step_unwritten", "waste_out"), ("gb-2-end-of-day", "waste_not_owed", "waste_out"),
    ("pi-1-under-work-surface", "way_unrequired", "way_open"), ("gb-2-end-of-day", "way_unrequired", "way_open"),
])
def test_what_a_file_forgets_is_refuted_by_the_property_that_it_breaks(bases, base, operator, prop):
    """Common practice, no source: a bag is filled, closed, wiped and passed out, then the gloves are changed; what lies
    under a plate is reached only with the plate lifted."""
    found = [m for m in mutants(bases, (base,)) if m.name.startswith(f"{base}: {operator} ")]
    assert found
    judged = [judge(bases, m) for m in found]
    assert {j.verdict for j in judged} <= {"refuted", "equivalent"}
    refuted = [j for j in judged if j.verdict == "refuted"]
    assert refuted and {j.why for j in refuted} == {prop}, judged


def test_verdicts_do_not_depend_on_the_number_of_processes():
    told = []
    alone = judge_all(1, 40, lambda done, of: told.append((done, of)))
    assert judge_all(2, 40) == alone and len(alone) > 4
    assert told == [(n, len(alone)) for n in range(1, len(alone) + 1)]


def test_a_seeded_core_is_whole_again_afterwards():
    before = owing.owe
    with seeded("nothing is owed again"):
        assert owing.owe is not before
    assert owing.owe is before
    assert len(FAULTS) >= 15


@pytest.mark.full
@pytest.mark.timeout(3000)
def test_every_fault_is_refuted_or_shown_to_be_none(bases):
    judged = [judge(bases, m) for m in mutants(bases, BASES)]
    assert [j.name for j in judged if j.verdict == "missed"] == []
    equivalent = [j for j in judged if j.verdict == "equivalent"]
    assert all(j.why for j in equivalent)
    assert len(equivalent) <= len(judged) // 5
