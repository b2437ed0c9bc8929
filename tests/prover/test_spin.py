"""A second model checker, given a model written from the file by other code, must say the same."""

from __future__ import annotations

import pytest

from tests import machine
from tests.bench.prover.spin.compare import MODELS, SITE, compare, missing, swapped
from tests.bench.prover.spin.promela import Model, load, read


def test_the_model_names_every_step_opening_and_cycle_of_its_file():
    procedure = load(SITE / "procedures" / "bench-doors.yaml")
    text = Model(read(SITE, procedure)).text()
    for name in ("open_outer", "open_inner", "cycle_purge", f"done[{len(procedure['steps'])}]"):
        assert name in text


def test_the_model_is_written_without_the_core_or_the_loader():
    import ast
    import inspect

    from tests.bench.prover.spin import promela

    tree = ast.parse(inspect.getsource(promela))
    imported = {n.module for n in ast.walk(tree) if isinstance(n, ast.ImportFrom)}
    assert not [m for m in imported if m and m.startswith("assistant")]


def test_a_twin_differs_in_exactly_two_places():
    procedure = load(SITE / "procedures" / "bench-doors.yaml")
    twin = swapped(procedure, *MODELS["bench-doors"])
    assert sum(a != b for a, b in zip(procedure["steps"], twin["steps"], strict=True)) == 2


@pytest.mark.full
@pytest.mark.parametrize("name", MODELS)
def test_verdicts_and_projected_states_agree(name):
    if missing():
        machine.not_measured(f"spin: {missing()}")
    found = compare(name)
    assert found["agree"], found
    assert found["states"] > 5
