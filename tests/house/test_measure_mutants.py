"""The mutation run itself, on a tiny planted checkout."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from tests.bench.mutants.areas import AREAS, ROOT, Area
from tests.bench.mutants.command import summary
from tests.bench.mutants.operators import mutants, mutated
from tests.bench.mutants.run import Run, RunEnded
from tests.bench.mutants.sample import pick, wilson

CODE = """\
LIMITS = (1, 2)


def warm(degrees):
    if degrees >= 30:
        return "warm"
    return "cold"


def countdown(start):
    while start > 0:
        start -= 1
    return start + 0


def never_called(x):
    return x < 3
"""
CHECKS = """\
from planted.code import LIMITS, countdown, warm

def test_warm():
    assert warm(40) == "warm" and warm(10) == "cold"

def test_countdown():
    assert countdown(3) == 0

def test_limits():
    assert LIMITS == (1, 2) and warm(50)
"""

Verdicts = tuple[Path, dict[str, bool | None]]


@pytest.fixture(scope="module")
def verdicts(tmp_path_factory: pytest.TempPathFactory) -> Verdicts:
    root = tmp_path_factory.mktemp("planted")
    for name, text in {
        "planted/__init__.py": "",
        "planted/code.py": CODE,
        "checks/test_code.py": CHECKS,
        "pytest.ini": "[pytest]\naddopts = --import-mode=importlib\n",
    }.items():
        (root / name).parent.mkdir(exist_ok=True)
        (root / name).write_text(text)
    area = Area("planted", ("planted/code.py",), ("checks",))
    chosen = pick(root, [area], None, 1)["planted"]
    run = Run(root, tmp_path_factory.mktemp("work"), root / "journal.jsonl", None, grace_s=1, narrow=True)
    found = run.judge(area, chosen, lambda text: None)
    return root, {f"{one['line']} {one['change']}": one["killed"] for one in found}


def test_a_mutant_that_a_test_notices_is_killed(verdicts: Verdicts) -> None:
    assert verdicts[1]["5 if degrees >= 30: return 'warm' -> if False: return 'warm'"] is True


def test_a_mutant_at_a_limit_that_no_test_asks_survives(verdicts: Verdicts) -> None:
    assert verdicts[1]["5 degrees >= 30 -> degrees > 30"] is False


def test_an_endless_mutant_ends_and_counts_as_killed(verdicts: Verdicts) -> None:
    assert verdicts[1]["12 start -= 1 -> start += 1"] is True


def test_a_mutant_of_a_table_outside_any_function_is_killed(verdicts: Verdicts) -> None:
    assert verdicts[1]["1 (1, 2) -> (1,)"] is True


def test_a_sum_with_nothing_added_survives_whatever_the_sign(verdicts: Verdicts) -> None:
    assert verdicts[1]["13 start + 0 -> start - 0"] is False


def test_a_run_goes_on_from_its_journal_without_asking_again(
    verdicts: Verdicts, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    root, before = verdicts
    area = Area("planted", ("planted/code.py",), ("checks",))
    monkeypatch.setattr(Run, "_ask", lambda self, request: pytest.fail("asked again"))
    found = Run(root, tmp_path, root / "journal.jsonl", None).judge(
        area, pick(root, [area], None, 1)["planted"], lambda text: None
    )
    assert [one["killed"] for one in found] == list(before.values()) and None not in before.values()


def test_without_a_test_that_runs_nothing_is_called_a_survivor(verdicts: Verdicts, tmp_path: Path) -> None:
    area = Area("untested", ("planted/code.py",), ("planted",))
    run = Run(verdicts[0], tmp_path, None, None)
    with pytest.raises(RunEnded, match="no test ran"):
        run.judge(area, pick(verdicts[0], [area], None, 1)["untested"], lambda text: None)


def test_a_survivor_is_listed_with_place_change_and_reason(tmp_path: Path) -> None:
    (tmp_path / "a.py").write_text("x = 1\ny = x < 2\n")
    judged = [
        {"file": "a.py", "line": 2, "change": "x < 2 -> x <= 2", "tests": 4, "killed": False},
        {"file": "a.py", "line": 1, "change": "1 -> 2", "tests": 4, "killed": True},
    ]
    reason = {"file": "a.py", "text": "y = x < 2", "change": "x < 2 -> x <= 2", "reason": "x is never 2"}
    found = summary({"a": judged}, tmp_path, [reason])
    assert found["survivors"] == [
        {
            "where": "a.py:2",
            "text": "y = x < 2",
            "change": "x < 2 -> x <= 2",
            "tests": 4,
            "reason": "x is never 2",
        }
    ]
    assert (found["all"]["killed"], found["all"]["survived"]) == (1, 1)


def test_only_mutants_on_the_lines_asked_for_are_taken(tmp_path: Path) -> None:
    (tmp_path / "code.py").write_text(CODE)
    chosen = pick(tmp_path, [Area("a", ("code.py",), ())], None, 1, {"code.py": {17}})["a"]
    assert {one.line for one in chosen} == {17}


def test_the_same_seed_takes_the_same_sample_and_every_room_has_its_share() -> None:
    areas = [area for area in AREAS if area.name in ("calc", "judging")]
    first, again, other = (pick(ROOT, areas, 50, seed) for seed in (1, 1, 2))
    assert first == again != other
    assert all(first.values())
    assert abs(sum(len(found) for found in first.values()) - 50) <= len(areas)


def test_each_mutant_changes_the_code_and_can_be_compiled() -> None:
    whole = ast.unparse(ast.parse(CODE))
    for one in mutants("code.py", CODE):
        text = ast.unparse(mutated(CODE, one.number))
        assert text != whole, one
        compile(text, "code.py", "exec")


# Wilson, 1927, as tabulated for 8 of 10: 0.490 to 0.943 (from memory).
def test_the_bound_is_wilsons() -> None:
    low, high = wilson(8, 10)
    assert (round(low, 3), round(high, 3)) == (0.490, 0.943)
