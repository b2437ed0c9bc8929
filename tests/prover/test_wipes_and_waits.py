"""What a file leaves out shows where it matters: used wipes that never leave, and waits that the core keeps by itself."""

from __future__ import annotations

import re
import shutil
from dataclasses import replace

import pytest

from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import load_procedure
from assistant.procedure.loading.source import default_folder
from assistant.procedure.rules.check import check_procedure
from assistant.prover.bounds import Bounds
from assistant.prover.moves import TODAY
from assistant.prover.proof import prove_plan, prove_procedure
from assistant.prover.requirements import of_files
from tests.bench.prover.mutants.core_faults import seeded

ONCE = Bounds(depth=0, moments=1)
END = "gb-2/gb-2-end-of-day.yaml"


def _without(folder, file: str, step: str):
    path = folder / file
    pattern = rf"(?m)^  - (?:\{{id: {step}, do:.*\n|id: {step}\n(?:    .*\n)+)"
    text, found = re.subn(pattern, "", path.read_text(encoding="utf-8"), count=1)
    assert found == 1
    path.write_text(text, encoding="utf-8")


@pytest.fixture
def folder(tmp_path):
    copy = tmp_path / "procedures"
    shutil.copytree(default_folder(), copy)
    return copy


@pytest.mark.parametrize(
    ("file", "step", "missing"),
    [
        ("parts/waste-bagged.yaml", "bag_wipes", "nothing bags the used wipes"),
        ("parts/waste-bagged.yaml", "close_bag", "nothing closes the waste bag"),
        ("parts/waste-bagged.yaml", "wipe_bag", "nothing wipes the waste bag"),
        ("parts/waste-from-airlock.yaml", "bag_out", "nothing passes the waste bag out"),
        ("parts/waste-from-airlock.yaml", "change_gloves", "nobody changes the outer gloves"),
    ],
)
def test_a_way_out_for_waste_that_the_file_forgets_is_refuted_at_the_last_wiping(folder, file, step, missing):
    """Common practice, no source: bagged, closed, wiped, passed out, gloves changed."""
    _without(folder, file, step)
    proof = prove_procedure(load_procedure("gb-2-end-of-day", folder), bounds=ONCE, processes=1)
    example = proof.counterexample
    assert example is not None and example.prop == "waste_out" and missing in example.text
    assert '"Wipe the right tray with disinfectant" (procedures/gb-2/gb-2-end-of-day.yaml:' in example.text


def test_wipes_used_from_the_room_that_nobody_bins_are_refuted(folder):
    _without(folder, "pi-1/pi-1-rigorous-clean.yaml", "bin_pass_box_wipes")
    proof = prove_procedure(load_procedure("pi-1-rigorous-clean", folder), bounds=ONCE, processes=1, shorten=False)
    assert proof.counterexample is not None and "nobody bins the used wipes" in proof.counterexample.text


@pytest.mark.parametrize("step", ["decontaminated", "disinfected"])
def test_where_a_file_forgets_a_wait_the_core_waits_for_the_label_s_time_and_check_says_so(folder, step):
    """So the proof has nothing to refute: no contact is cut short. With a core that counts a second less it has."""
    _without(folder, END, step)
    loaded = load_procedure("gb-2-end-of-day", folder)
    assert "contact-not-awaited" in {f.rule for f in check_procedure(loaded)}
    plan, need = replace(compile_plan(loaded), today=TODAY), of_files(loaded)
    assert prove_plan(plan, need, bounds=ONCE, processes=1).proven
    with seeded("a contact is complete a second early"):
        early = prove_plan(plan, need, bounds=ONCE, processes=1)
    assert early.counterexample is not None and early.counterexample.prop == "contact_time"
    with seeded("contacts never complete"):
        never = prove_plan(plan, need, bounds=ONCE, processes=1)
    assert not never.proven
