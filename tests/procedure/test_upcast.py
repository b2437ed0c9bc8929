"""Older formats are read through explicit steps; newer ones are refused by their number."""

from __future__ import annotations

from pathlib import Path

import pytest

from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import load_procedure
from assistant.procedure.loading.problems import SiteFileProblems
from assistant.procedure.loading.source import default_folder
from assistant.procedure.loading.upcast import CURRENT, upcast
from assistant.procedure.loading.yaml_tree import parse_tree, read_tree
from tests.procedure.plan_runner import run_plan

OLD = Path(__file__).parent / "older" / "gb-2-format-1.yaml"


def test_a_format_1_file_loads_compiles_and_runs():
    plan = compile_plan(load_procedure(OLD, default_folder()))
    assert [s.kind for s in plan.steps] == ["move", "wet", "wait", "check", "move"]
    assert plan.steps[1].contact_ms == 200_000 and plan.steps[1].surface == "left_tray"
    assert run_plan(plan, {}).state.mode == "complete"


def test_an_error_in_a_format_1_file_is_named_at_its_own_line(tmp_path):
    path = tmp_path / "gb-2-format-1.yaml"
    text = OLD.read_text().replace("wet: left_tray", "wet: left_try")
    path.write_text(text)
    with pytest.raises(SiteFileProblems) as caught:
        load_procedure(path, default_folder())
    (problem,) = caught.value.problems
    assert text.splitlines()[problem.line - 1].strip() == "wet: left_try" and "left_tray" in problem.try_next


def test_the_current_format_passes_through_unchanged():
    tree = read_tree(next(default_folder().rglob("gb-2-light-clean.yaml")))
    before = dict(tree.data)
    assert upcast(tree).data == before and before["format"] == CURRENT


def test_a_mishap_of_format_2_is_taken_to_endanger_the_person():
    old = parse_tree("format: 2\nkind: part\nmishaps:\n  - {id: a, word: spill}\n  - {id: b, urgency: work}\n", "x.yaml")
    assert [m["urgency"] for m in upcast(old).data["mishaps"]] == ["person", "work"]


def test_a_mishap_without_urgency_is_named_with_its_line_and_what_it_can_be(tmp_path):
    for file in default_folder().rglob("*.yaml"):
        to = tmp_path / file.relative_to(default_folder())
        to.parent.mkdir(parents=True, exist_ok=True)
        to.write_text(file.read_text())
    part = tmp_path / "parts" / "mishaps.yaml"
    text = part.read_text()
    part.write_text(text.replace("    urgency: person\n", "", 1))
    with pytest.raises(SiteFileProblems) as caught:
        load_procedure("gb-2-light-clean", tmp_path)
    problem = next(p for p in caught.value.problems if "urgency" in p.message)
    assert problem.message == "urgency is missing." and "person, containment or work" in problem.expected
    assert problem.file.endswith("mishaps.yaml") and text.splitlines()[problem.line - 1].strip().startswith("- id:")


def test_a_newer_format_is_refused_by_its_number():
    with pytest.raises(SiteFileProblems, match=f"format {CURRENT + 1}; this program reads up to {CURRENT}"):
        upcast(parse_tree(f"format: {CURRENT + 1}\nkind: procedure\n", "x.yaml"))
