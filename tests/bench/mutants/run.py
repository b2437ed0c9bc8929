"""Runs chosen mutants against the tests that touch them, and keeps the verdicts."""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from tests.bench.mutants.areas import ROOT, Area
from tests.bench.mutants.operators import Mutant

# A mutant's tests, fastest first, until they have taken so long; what this leaves out is long runs that touch
# everything. A mutant may take several times as long (a slow loop isn't an endless one), then it counts as noticed.
TESTS_S, PATIENCE = 15.0, 4.0
BATCH = 60  # mutants between two lines of progress and two looks at the time


class RunEnded(Exception):
    """The process that runs the tests ended before it had answered."""


class Run:
    """One run over a checkout (or a planted one, for the tests)."""

    def __init__(
        self,
        root: Path,
        folder: Path,
        journal: Path | None,
        until: float | None,
        grace_s: float = 5.0,
        narrow: bool = False,
    ) -> None:
        self.root, self.folder, self.journal, self.until = root, folder, journal, until
        self.grace_s, self.narrow = grace_s, narrow
        self.kept: dict[str, bool | None] = {}
        if journal and journal.exists():
            for line in journal.read_text(encoding="utf-8").splitlines():
                one = json.loads(line)
                self.kept[one["key"]] = one["killed"]

    def judge(self, area: Area, chosen: list[Mutant], say: Callable[[str], None]) -> list[dict[str, Any]]:
        """A verdict for each mutant: killed True, False, or None where the time was up."""
        verdicts: list[dict[str, Any]] = [
            {
                "key": self._key(one),
                "file": one.file,
                "number": one.number,
                "line": one.line,
                "change": one.change,
                "inside": one.inside,
                "tests": [],
                "killed": None,
            }
            for one in chosen
        ]
        waiting = [one for one in verdicts if one["key"] not in self.kept]
        if waiting:
            tests = self._touched(area, chosen, say)
            for one, mutant in zip(verdicts, chosen, strict=True):
                one["tests"], took = _matter(tests, mutant)
                one["seconds"] = self.grace_s + PATIENCE * took
            # Those in a function first: they are quick, and in number the most.
            waiting.sort(key=lambda one: not one["inside"])
            for at in range(0, len(waiting), BATCH):
                if self.until and time.monotonic() > self.until:
                    break
                self._batch(waiting[at : at + BATCH])
                say(f"{area.name}: {min(at + BATCH, len(waiting))} of {len(waiting)} mutants")
        for one in verdicts:
            one["killed"] = self.kept.get(one["key"])
            one["tests"] = len(one["tests"])
        return verdicts

    def _key(self, one: Mutant) -> str:
        """Names the mutant as long as its file stays as it is."""
        digest = hashlib.sha256((self.root / one.file).read_bytes()).hexdigest()[:12]
        return f"{one.file}#{one.number}@{digest}"

    def _batch(self, jobs: list[dict[str, Any]]) -> None:
        for one in jobs:
            if not one["tests"]:
                self._keep(one["key"], False)  # no test comes by here
        todo = [one for one in jobs if one["tests"]]
        while todo:
            answers = self._ask({"do": "judge", "jobs": todo})
            again: set[str] = set()
            for answer in answers:
                if "again" in answer:
                    again = set(answer["again"])
                else:
                    self._keep(answer["key"], answer["killed"])
            todo = [{**one, "inside": False} for one in todo if one["key"] in again]

    def _keep(self, key: str, killed: bool) -> None:
        self.kept[key] = killed
        if self.journal:
            with self.journal.open("a", encoding="utf-8") as journal:
                journal.write(json.dumps({"key": key, "killed": killed}) + "\n")

    def _touched(
        self, area: Area, chosen: list[Mutant], say: Callable[[str], None]
    ) -> dict[str, dict[str, Any]]:
        """The area's tests with what each touches; from the cache where neither code nor tests have changed.

        A narrow run looks at the mutants' own files only, which makes the look about as quick as the tests are.
        """
        sources = area.sources(self.root)
        traced = sorted({one.file for one in chosen}) if self.narrow else sources
        digest = hashlib.sha256(json.dumps(traced).encode())
        for path in self._inputs(area, sources):
            digest.update(path.read_bytes())
        cache = self.root / ".gauntlet" / "mutants" / f"{area.name}-{digest.hexdigest()[:16]}.json"
        if not cache.exists():
            say(f"{area.name}: which tests touch which lines ...")
            answers = self._ask({"do": "touch", "files": traced, "tests": list(area.tests)})
            cache.parent.mkdir(parents=True, exist_ok=True)
            for old in cache.parent.glob(f"{area.name}-*.json"):
                old.unlink()
            cache.write_text(json.dumps(answers[0]), encoding="utf-8")
        found: dict[str, dict[str, Any]] = json.loads(cache.read_text(encoding="utf-8"))
        return {name: test for name, test in found.items() if not test["failed"]}

    def _inputs(self, area: Area, sources: list[str]) -> Iterable[Path]:
        yield from (self.root / file for file in sources)
        for part in area.tests:
            path = self.root / part
            yield from [path] if path.is_file() else sorted(path.rglob("*.py"))

    def _ask(self, request: dict[str, Any]) -> list[dict[str, Any]]:
        """Lets a process of its own do it; its lines."""
        asked, answers = self.folder / "request.json", self.folder / "answers.jsonl"
        answers.unlink(missing_ok=True)
        asked.write_text(json.dumps({**request, "answers": str(answers)}), encoding="utf-8")
        environment = {
            **os.environ,
            "PYTHONPATH": os.pathsep.join([str(self.root), str(ROOT)]),
            "PYTHONDONTWRITEBYTECODE": "1",
            "OPENBLAS_NUM_THREADS": "1",
        }
        ended = subprocess.run(
            [sys.executable, "-m", "tests.bench.mutants.warm", str(asked)],
            cwd=self.root,
            env=environment,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
        )
        if ended.returncode or not answers.exists():
            raise RunEnded(
                f"The process that runs the tests ended with {ended.returncode}:\n{ended.stderr[-2000:]}"
            )
        return [json.loads(line) for line in answers.read_text(encoding="utf-8").splitlines()]


def _matter(tests: dict[str, dict[str, Any]], one: Mutant) -> tuple[list[str], float]:
    """The tests that touch the mutant's line (its file, where the line runs at import only), and their time."""
    lines = set(range(one.begins, one.line + 1))
    touching = [
        (test["seconds"], name)
        for name, test in tests.items()
        if not lines.isdisjoint(test["lines"].get(one.file, ()))
    ]
    if not touching and not one.inside:
        touching = [(test["seconds"], name) for name, test in tests.items() if one.file in test["lines"]]
    chosen: list[str] = []
    seconds = 0.0
    for took, name in sorted(touching):
        if chosen and seconds + took > TESTS_S:
            break
        chosen.append(name)
        seconds += took
    return chosen, seconds
