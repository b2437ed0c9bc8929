"""The process that runs tests against mutants: `python -m tests.bench.mutants.warm REQUEST.json`.

Everything is imported and collected once. Each mutant then gets a fork in which the code of its functions is
exchanged; one outside of any function (a table, a default) gets a fork from before the imports, and imports the
changed file. A fork that uses up its processor time is ended: the tests have noticed.
"""

from __future__ import annotations

import functools
import gc
import importlib.machinery
import json
import os
import resource
import signal
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from types import CodeType, FrameType, FunctionType
from typing import Any

import hypothesis
import pytest

from tests.bench.mutants.operators import mutated

SURVIVED, KILLED, NOT_PLACED = 0, 1, 3
OPTIONS = [
    "-q",
    "-p",
    "no:xdist",
    "-p",
    "no:timeout",
    "-p",
    "no:cacheprovider",
    "-o",
    "tmp_path_retention_policy=none",
]
# So many calls of a function without a new line, and a test's further calls of it aren't looked at.
_NOTHING_NEW = 300
_STUCK_S = 120  # a fork that waits for something, using no processor time


class _Quick:
    """What both runs share: a property's failure is enough, its smallest example isn't looked for."""

    failed = False

    @pytest.hookimpl(trylast=True)
    def pytest_configure(self) -> None:
        phases = (hypothesis.Phase.explicit, hypothesis.Phase.generate)
        hypothesis.settings.register_profile(
            "mutants", hypothesis.settings(), derandomize=True, deadline=None, phases=phases
        )
        hypothesis.settings.load_profile("mutants")

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        self.failed = self.failed or report.failed


class Touched(_Quick):
    """Which lines of which files each test runs through, and how long it takes."""

    def __init__(self, files: list[str]) -> None:
        self.files = {str(Path(file).resolve()): file for file in files}
        self.tests: dict[str, dict[str, Any]] = {}

    @pytest.hookimpl(hookwrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Any:
        seen: dict[CodeType, set[int]] = {}
        idle: dict[CodeType, int] = {}  # calls since the last new line

        def line(frame: FrameType, event: str, _: Any) -> Any:
            code = frame.f_code
            if event == "line" and frame.f_lineno not in seen[code]:
                seen[code].add(frame.f_lineno)
                idle[code] = 0
            return line

        def call(frame: FrameType, _event: str, _: Any) -> Any:
            code = frame.f_code
            if code.co_filename not in self.files:
                return None
            lines = seen.setdefault(code, set())
            lines.add(code.co_firstlineno)
            idle[code] = idle.get(code, 0) + 1
            return line if idle[code] < _NOTHING_NEW and len(lines) < len(_lines_of(code)) else None

        self.failed, began = False, time.process_time()
        sys.settrace(call)
        try:
            yield
        finally:
            sys.settrace(None)
        lines: dict[str, set[int]] = {}
        for code, numbers in seen.items():
            lines.setdefault(self.files[code.co_filename], set()).update(numbers)
        self.tests[item.nodeid] = {
            "seconds": round(time.process_time() - began, 4),
            "failed": self.failed,
            "lines": {file: sorted(numbers) for file, numbers in sorted(lines.items())},
        }


@functools.cache
def _lines_of(code: CodeType) -> frozenset[int]:
    return frozenset(number for _, _, number in code.co_lines() if number) | {code.co_firstlineno}


class Judge(_Quick):
    """Takes the place of pytest's loop: all tests are collected, each mutant runs its own in a fork."""

    def __init__(self, jobs: list[dict[str, Any]], tell: Callable[[dict[str, Any], int], None]) -> None:
        self.jobs, self.tell = jobs, tell

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        items = {item.nodeid: item for item in session.items}
        files = {str(Path(job["file"]).resolve()) for job in self.jobs}
        alive = [
            thing
            for thing in gc.get_objects()
            if isinstance(thing, FunctionType) and thing.__code__.co_filename in files
        ]
        caches = [thing for thing in gc.get_objects() if isinstance(thing, functools._lru_cache_wrapper)]
        gc.freeze()
        for job in self.jobs:
            self.tell(job, _forked(job, partial(self._run, job, items, alive, caches)))
        return True

    def _run(
        self, job: dict[str, Any], items: dict[str, pytest.Item], alive: list[FunctionType], caches: list[Any]
    ) -> int:
        if not exchange(job, alive):
            return NOT_PLACED
        for cache in caches:
            cache.cache_clear()
        chosen = [items[test] for test in job["tests"] if test in items]
        for item, following in zip(chosen, [*chosen[1:], None], strict=True):
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
            if self.failed:
                return KILLED
        return SURVIVED


def exchange(job: dict[str, Any], alive: list[FunctionType]) -> bool:
    """Puts the mutant's code into the living functions; False where none takes it."""
    path = str(Path(job["file"]).resolve())
    fresh: dict[tuple[str, int], list[CodeType]] = {}

    def gather(code: CodeType) -> None:
        for part in code.co_consts:
            if isinstance(part, CodeType):
                fresh.setdefault((part.co_qualname, part.co_firstlineno), []).append(part)
                gather(part)

    gather(compile(mutated(Path(path).read_text(encoding="utf-8"), job["number"]), path, "exec"))
    placed = False
    for function in alive:
        old = function.__code__
        found = fresh.get((old.co_qualname, old.co_firstlineno), [])
        if old.co_filename == path and len(found) == 1 and found[0] != old:
            if found[0].co_freevars != old.co_freevars:
                return False
            function.__code__, placed = found[0], True
    return placed


def _forked(job: dict[str, Any], run: Callable[[], int]) -> int:
    """The exit code of `run` in a fork; KILLED where it ends by a signal or sits still."""
    child = os.fork()
    if child == 0:
        try:
            os.setpgid(0, 0)
            seconds = int(job["seconds"]) + 1
            resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds + 1))
            code = run()
        except BaseException:  # a mutant may raise anything, anywhere: somebody noticed
            code = KILLED
        os._exit(code)
    until = time.monotonic() + _STUCK_S
    while time.monotonic() < until:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status) if os.WIFEXITED(status) else KILLED
        time.sleep(0.005)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return KILLED


def whole(job: dict[str, Any]) -> int:
    """Imports everything anew with the mutant's file changed on the way in."""
    path = str(Path(job["file"]).resolve())
    loader: Any = importlib.machinery.SourceFileLoader
    unchanged = loader.get_code

    def get_code(self: Any, name: str) -> CodeType | None:
        if str(Path(self.path).resolve()) != path:
            kept: CodeType | None = unchanged(self, name)
            return kept
        return compile(mutated(Path(path).read_text(encoding="utf-8"), job["number"]), path, "exec")

    loader.get_code = get_code
    code = pytest.main([*OPTIONS, "-x", *job["tests"]], plugins=[_Quick()])
    return SURVIVED if code == pytest.ExitCode.OK else KILLED


def main(request: str) -> int:
    """Does what the request says and writes the answers, one JSON line each."""
    asked = json.loads(Path(request).read_text(encoding="utf-8"))
    with open(asked["answers"], "a", encoding="utf-8") as answers:
        if asked["do"] == "touch":
            touched = Touched(asked["files"])
            pytest.main([*OPTIONS, *asked["tests"]], plugins=[touched])
            if not touched.tests:
                print(f"no test ran of {asked['tests']}", file=sys.stderr)
                return 1
            answers.write(json.dumps(touched.tests) + "\n")
            return 0

        again: list[dict[str, Any]] = []

        def tell(job: dict[str, Any], code: int) -> None:
            if code == NOT_PLACED:
                again.append(job)
                return
            answers.write(json.dumps({"key": job["key"], "killed": code != SURVIVED}) + "\n")
            answers.flush()

        inside = [job for job in asked["jobs"] if job["inside"]]
        for job in (job for job in asked["jobs"] if not job["inside"]):
            tell(job, _forked(job, partial(whole, job)))
        if inside:
            files = sorted({test.split("::")[0] for job in inside for test in job["tests"]})
            pytest.main([*OPTIONS, *files], plugins=[Judge(inside, tell)])
        answers.write(json.dumps({"again": [job["key"] for job in again]}) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
