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


def test_a_newer_format_is_refused_by_its_number():
    with pytest.raises(SiteFileProblems, match=f"format {CURRENT + 1}; this program reads up to {CURRENT}"):
        upcast(parse_tree(f"format: {CURRENT + 1}\nkind: procedure\n", "x.yaml"))
