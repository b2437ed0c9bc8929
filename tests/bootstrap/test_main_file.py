"""`assistant/__main__.py` on other Pythons: every one can read it, an unsuitable one gets a sentence."""

from __future__ import annotations

import ast
import os
import subprocess
import sys
from pathlib import Path

import pytest

from assistant.__main__ import version_problem

ROOT = Path(__file__).resolve().parents[2]
MAIN = ROOT / "assistant" / "__main__.py"
BEFORE_THE_CHECK = [MAIN, ROOT / "assistant" / "__init__.py"]


def nothing(name: str) -> None:
    return None


@pytest.mark.parametrize("file", BEFORE_THE_CHECK, ids=lambda path: path.name)
def test_what_runs_before_the_check_has_the_grammar_of_python_3_8(file: Path) -> None:
    ast.parse(file.read_text(encoding="utf-8"), feature_version=(3, 8))


@pytest.mark.parametrize("version", [(3, 11), (3, 12, 1), (3, 13, 99)])
def test_suitable_versions_pass(version: tuple[int, ...]) -> None:
    assert version_problem(version, nothing, "linux") is None


@pytest.mark.parametrize("version", [(2, 7, 18), (3, 8, 0), (3, 10, 13), (3, 14, 0), (4, 0, 0)])
def test_other_versions_get_a_sentence_with_what_to_try(version: tuple[int, ...]) -> None:
    text = version_problem(version, nothing, "linux")
    assert f"This is Python {version[0]}.{version[1]}. The assistant needs Python 3.11 to 3.13." in text
    assert "Try: install Python 3.13" in text


def test_a_suitable_python_on_the_path_is_named() -> None:
    text = version_problem((3, 9, 1), lambda name: name == "python3.12", "linux")
    assert text.endswith("Try: python3.12 is here; start with: python3.12 -m assistant")


def test_the_newest_of_several_is_named() -> None:
    text = version_problem((3, 14, 0), lambda name: name in ("python3.11", "python3.13"), "darwin")
    assert "start with: python3.13 -m assistant" in text


def test_on_windows_the_py_launcher_is_named() -> None:
    text = version_problem((3, 10, 0), lambda name: name == "py", "win32")
    assert "py -3.13 -m assistant" in text


def other_pythons() -> list[Path]:
    """Real Pythons outside 3.11 to 3.13 that this machine has, one for each version."""
    versions = Path.home() / ".pyenv" / "versions"
    found = {path.parents[1].name.rpartition(".")[0]: path for path in versions.glob("*/bin/python")}
    return [path for minor, path in sorted(found.items()) if minor not in ("3.11", "3.12", "3.13")]


@pytest.mark.parametrize("python", other_pythons(), ids=lambda path: path.parents[1].name)
def test_a_real_unsuitable_python_says_the_sentence_and_ends_with_2(python: Path) -> None:
    environment = {**os.environ, "PYTHONDONTWRITEBYTECODE": "1"}
    result = subprocess.run([str(python), "-m", "assistant", "--version"], cwd=ROOT, env=environment,
                            capture_output=True, text=True, timeout=60, check=False)
    assert result.returncode == 2
    assert "The assistant needs Python 3.11 to 3.13." in result.stderr
    assert "Traceback" not in result.stderr and result.stdout == ""


def test_started_by_path_from_another_folder_the_rooms_stay_inside_the_package(tmp_path: Path) -> None:
    result = subprocess.run([sys.executable, str(MAIN), "--version"], cwd=tmp_path, capture_output=True,
                            text=True, timeout=60, check=False)
    assert result.returncode == 0, result.stderr
    assert "version" in result.stdout


def test_matrices_stay_on_one_thread_unless_the_user_says_otherwise(monkeypatch):
    import assistant.bootstrap.launch as launch
    from assistant import __main__ as main_file

    seen = []
    monkeypatch.setattr(launch, "start_installed", lambda words: seen.append(os.environ["OPENBLAS_NUM_THREADS"]) or 0)
    for given, found in ((None, "1"), ("4", "4")):
        monkeypatch.delenv("OPENBLAS_NUM_THREADS", raising=False)
        if given:
            monkeypatch.setenv("OPENBLAS_NUM_THREADS", given)
        with pytest.raises(SystemExit):
            main_file.main()
        assert seen.pop() == found
