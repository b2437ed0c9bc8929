"""`assistant selftest` on a small set of tests of its own: exit code, JSON, what wasn't measured, no litter."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from assistant import selftest
from assistant.errors import UsageError

ROOT = Path(__file__).resolve().parents[2]

TESTS = """
import pytest
from hypothesis import given, strategies as st
from tests.machine import not_measured

def test_passes(): pass
@given(st.integers())
def test_property(x): pass
def test_lacks_something(): not_measured("no centrifuge")
def test_goes_on_without(record_property): record_property("not_measured", "no balance")
@pytest.mark.browser
def test_in_a_browser(): raise AssertionError("ran without a browser")
@pytest.mark.full
def test_long(): pass
"""


@pytest.fixture
def small_project(tmp_path: Path) -> Path:
    for name in ("__init__", "__main__", "cli", "errors", "lazy_commands", "run_command", "selftest"):
        (tmp_path / "assistant").mkdir(exist_ok=True)
        shutil.copy(ROOT / "assistant" / f"{name}.py", tmp_path / "assistant")
    shutil.copytree(ROOT / "assistant" / "bootstrap", tmp_path / "assistant" / "bootstrap")
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    (tmp_path / "tests").mkdir()
    for name in ("conftest.py", "long_parts.py", "machine.py"):
        shutil.copy(ROOT / "tests" / name, tmp_path / "tests")
    (tmp_path / "tests" / "test_small.py").write_text(TESTS)
    return tmp_path


def run(project: Path, *argv: str) -> subprocess.CompletedProcess[str]:
    tools = project / "no-tools"
    tools.mkdir(exist_ok=True)
    environment = {**os.environ, "GAUNTLET_USE_THIS_PYTHON": "1", "PATH": str(tools), "VOSK_MODEL_PATH": "",
                   "CHROMIUM_PATH": ""}
    for name in list(environment):
        if name.startswith(("PYTEST_", "COV_")):
            del environment[name]
    return subprocess.run([sys.executable, "-m", "assistant", "selftest", "-n", "0", *argv], cwd=project,
                          env=environment, capture_output=True, text=True, timeout=120, check=False)


def test_json_is_one_object_with_counts_and_all_that_was_not_measured(small_project: Path) -> None:
    result = run(small_project, "--json")
    assert result.returncode == 0, result.stderr
    report = json.loads(result.stdout)
    assert (report["passed"], report["failed"], report["deselected"], report["exit_code"]) == (3, 0, 1, 0)
    assert report["tests_skipped"] == 2
    for reason in ("no centrifuge", "no balance", "no Chromium to open", "no spin", "no English Vosk model",
                   "the long parts"):
        assert any(reason in line for line in report["skipped"]), reason
        assert reason in result.stderr
    assert "NOT MEASURED HERE: no centrifuge" in result.stderr
    assert "3 passed, 2 skipped, 1 deselected" in result.stderr.splitlines()[-1], "pytest's closing line"


def test_nothing_is_left_in_the_project_but_the_hidden_folder(small_project: Path) -> None:
    run(small_project)
    names = {path.name for path in small_project.iterdir()}
    assert names == {"assistant", "tests", "pyproject.toml", ".gauntlet", "no-tools"}
    assert not list((small_project / "tests").rglob("__pycache__"))


def test_full_runs_the_long_parts_too(small_project: Path) -> None:
    result = run(small_project, "--full", "--json")
    report = json.loads(result.stdout)
    assert (report["passed"], report["deselected"]) == (4, 0)
    assert not any("long parts" in line for line in report["skipped"])


def test_a_failing_test_gives_pytests_exit_code(small_project: Path) -> None:
    (small_project / "tests" / "test_small.py").write_text("def test_fails(): assert 1 == 2\n")
    result = run(small_project)
    assert result.returncode == 1 and "1 failed" in result.stdout


def test_words_for_pytest_are_passed_on(small_project: Path) -> None:
    report = json.loads(run(small_project, "--json", "-k", "passes").stdout)
    assert (report["passed"], report["deselected"]) == (1, 5)


def test_where_pytest_reports_nothing_the_json_says_so(tmp_path: Path) -> None:
    report = selftest.summary(tmp_path / "absent.json", 3, 0.1)
    assert report["exit_code"] == 3 and "everything" in report["skipped"][0]


def test_an_installed_package_says_that_it_has_no_tests(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="not part of the installed package"):
        selftest.require_tests(tmp_path)


def test_missing_test_packages_are_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    with pytest.raises(UsageError, match="packages for testing"):
        selftest.require_tests(ROOT)


def test_two_workers_unless_the_caller_says_otherwise() -> None:
    assert "-n 2 --dist loadgroup" in " ".join(selftest.pytest_command(False, ()))
    command = selftest.pytest_command(True, ("-n", "4"))
    assert command.count("-n") == 1 and "--full" in command
