"""`assistant selftest`: the project's tests, run the way a newcomer and the automatic check run them."""

from __future__ import annotations

import importlib.util
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import click

from assistant.errors import UsageError

ROOT = Path(__file__).resolve().parent.parent


@click.command(context_settings={"ignore_unknown_options": True})
@click.option("--full", is_flag=True, help="Also run the long parts (under 45 minutes on 2 cores).")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object on stdout, all else on stderr.")
@click.argument("pytest_args", nargs=-1, type=click.UNPROCESSED, metavar="[PYTEST ARGS]...")
def command(full: bool, as_json: bool, pytest_args: tuple[str, ...]) -> int:
    """Run the tests. What this machine can't measure is named at the end.

    Anything else on the line goes to pytest, for example: selftest tests/session -k timer
    """
    require_tests(ROOT)
    started = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        report_file = Path(folder) / "report.json"
        finished = subprocess.run(
            pytest_command(full, pytest_args), cwd=ROOT, env=environment(report_file), check=False,
            stdout=sys.stderr.fileno() if as_json else None)
        if as_json:
            taken_s = round(time.monotonic() - started, 1)
            click.echo(json.dumps(summary(report_file, finished.returncode, taken_s)))
    return finished.returncode


def require_tests(root: Path) -> None:
    """Raises UsageError where there is nothing to run: an installed package, or no pytest."""
    if not (root / "tests" / "conftest.py").is_file():
        raise UsageError("The tests are not part of the installed package.", where=str(root),
                         try_next="run `python3 -m assistant selftest` in a clone of the project")
    if importlib.util.find_spec("pytest") is None or importlib.util.find_spec("xdist") is None:
        raise UsageError("The packages for testing are not installed in this Python.", where=sys.executable,
                         try_next="`python3 -m assistant selftest` in the project's folder gets them, "
                                  "or `pip install '.[test]'`")


def pytest_command(full: bool, pytest_args: tuple[str, ...]) -> list[str]:
    """The command line: two workers, groups of tests that share a heavy model kept on one of them."""
    workers = [] if any(arg.startswith(("-n", "--numprocesses")) for arg in pytest_args) else ["-n", "2"]
    return [sys.executable, "-m", "pytest", "-q", *workers, "--dist", "loadgroup",
            *(["--full"] if full else []), *pytest_args]


def environment(report_file: Path) -> dict[str, str]:
    """The tests' environment: compiled files go to one hidden folder, and the conftest writes its report."""
    from assistant.bootstrap.places import cache_for_compiled_files

    return {**os.environ, "GAUNTLET_SELFTEST_REPORT": str(report_file), "PYTHONUTF8": "1",
            "PYTHONPYCACHEPREFIX": str(cache_for_compiled_files(ROOT))}


def summary(report_file: Path, exit_code: int, taken_s: float) -> dict[str, object]:
    """What `--json` prints: pytest's counts, its exit code, seconds taken, and what was not measured."""
    try:
        report = json.loads(report_file.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        report = {"counts": {}, "skipped": ["everything: pytest ended before it could report"]}
    return {**report["counts"], "tests_skipped": report["counts"].get("skipped", 0),
            "exit_code": exit_code, "taken_s": taken_s, "skipped": report["skipped"]}
