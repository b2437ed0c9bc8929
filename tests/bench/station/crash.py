"""`assistant measure crash`: kill a session at random instants, start again, finish it, and judge what is left.

A real process runs keeper, core and record on disk and is killed outright, up to four times in a row. The start
after it goes the way of a live start. The record is judged by the independent verifier and by rules that share no
code with the core. The baseline in the same run: waits that a plain timer, left running, would have called
finished although nobody had watched.
"""

from __future__ import annotations

import contextlib
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import click

from assistant.account.reading import load_session
from assistant.account.rederiving import rederive
from assistant.errors import GauntletError
from assistant.procedure.loading.load import load_procedure
from assistant.station.account.json_out import print_figures
from tests.bench.record.kill import independent_verifier
from tests.bench.station.crash_judge import judge_facts, lines_of, missing
from tests.bench.station.crash_session import PROCEDURE, plan_for, run_session

_GAPS_MS = (0, 1_000, 40_000, 600_000, 5_400_000)  # how long nobody watches
CHILD = [sys.executable, "-m", "tests.bench.station.crash_session"]


@dataclass(slots=True)
class CrashTally:
    """`recovered`: sessions finished and sealed after their kills. `lost`: things told aloud that the record lacks.
    `violations`: every other broken promise. `early`: kills before there was a whole line. `cut`: waits running at a
    break; `naive`: those of them a timer left running would have called finished."""

    kills: int = 0
    sessions: int = 0
    recovered: int = 0
    lost: int = 0
    told: int = 0
    early: int = 0
    torn: int = 0
    in_a_row: int = 0
    cut: int = 0
    naive: int = 0
    verdicts: dict[str, int] = field(default_factory=dict)
    violations: list[str] = field(default_factory=list)

    def as_json(self) -> dict[str, Any]:
        """The object of `measure crash --json`."""
        return {
            "kills": self.kills, "recovered": self.recovered, "violations": len(self.violations), "lost": self.lost,
            "sessions": self.sessions, "told": self.told, "killed_before_first_line": self.early,
            "torn_tails": self.torn, "most_kills_in_a_row": self.in_a_row, "waits_cut": self.cut,
            "baseline_plain_timer_would_complete": self.naive, "verdicts": dict(sorted(self.verdicts.items())),
            "problems": self.violations[:20], "skipped": [],
        }


class _Victims:
    """Processes to be killed. Where the system can copy a process, one loads everything once and is copied for each
    job; elsewhere each job starts anew. `command`: another victim, for testing the harness itself."""

    def __init__(self, command: list[str]) -> None:
        self._command = command
        self._nursery: subprocess.Popen | None = None

    def kill_one(self, job: dict[str, Any], after_s: float, *, early: bool) -> bool:
        """Run a job and kill it `after_s` after it first told something (`early`: after its start). False when it
        had ended by itself."""
        if self._nursery is None or self._nursery.poll() is not None:
            self._nursery = subprocess.Popen(self._command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        nursery = self._nursery
        assert nursery.stdin and nursery.stdout
        nursery.stdin.write(json.dumps(job) + "\n")
        nursery.stdin.flush()
        if not hasattr(os, "fork"):
            _wait(job, after_s, early, lambda: nursery.poll() is not None)
            alive = nursery.poll() is None
            nursery.kill()
            nursery.wait()
            self._nursery = None
            return alive
        pid = int(nursery.stdout.readline().split()[1])
        _wait(job, after_s, early, lambda: _ended(pid))
        with contextlib.suppress(ProcessLookupError):
            os.kill(pid, 9)
        return nursery.stdout.readline().split()[1] == "killed"

    def close(self) -> None:
        if self._nursery is not None:
            self._nursery.kill()
            self._nursery.communicate()


def _wait(job: dict[str, Any], after_s: float, early: bool, ended: Any) -> None:
    told = Path(job["told"])
    size = told.stat().st_size if told.exists() else 0
    limit = time.monotonic() + 60
    while not early and not ended() and time.monotonic() < limit:
        if told.exists() and told.stat().st_size > size:
            break
        time.sleep(0.0005)
    until = time.monotonic() + after_s
    while (left := until - time.monotonic()) > 0 and not ended():
        time.sleep(min(0.002, left))


def _ended(pid: int) -> bool:
    """Whether a process is gone. One that has died and waits to be asked for counts as there: killing it does no
    harm."""
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return True
    return False


def crash_rounds(root: Path, kills: int, seed: int | str, command: list[str] | None = None) -> CrashTally:
    """Kill until `kills` processes have died at it, session after session, each below a folder of its own."""
    tally, rng = CrashTally(), random.Random(f"crash:{seed}")
    loaded, judge = load_procedure(PROCEDURE), independent_verifier()
    begun = time.monotonic()
    run_session(root / "whole", loaded, seed=seed, pause=lambda: time.sleep(0.002))
    longest_s = time.monotonic() - begun  # of a whole session: kills fall anywhere in it
    victims = _Victims(command or CHILD)
    try:
        while tally.kills < kills:
            _one_session(root / f"round-{tally.sessions:04d}", tally, rng, victims, loaded, judge, kills, longest_s)
    finally:
        victims.close()
    return tally


def _one_session(
    folder: Path, tally: CrashTally, rng: random.Random, victims: _Victims, loaded: Any, judge: Any, kills: int,
    longest_s: float,
) -> None:
    folder.mkdir(parents=True)
    tally.sessions += 1
    told_file = folder / "told.txt"
    in_a_row = 0
    for _ in range(rng.choice((1, 1, 1, 1, 2, 4))):
        if tally.kills >= kills:
            break
        early = rng.random() < 0.15
        job = {
            "root": str(folder), "told": str(told_file), "seed": f"{folder.name}:{in_a_row}:{rng.random()}",
            "unwatched_ms": rng.choice(_GAPS_MS),
        }
        after_s = rng.random() * (0.08 if early else longest_s)
        if not victims.kill_one(job, after_s, early=early):
            break  # it had come to its end
        tally.kills += 1
        in_a_row += 1
        _after_kill(folder, tally, told_file, judge)
    tally.in_a_row = max(tally.in_a_row, in_a_row)
    _finish(folder, tally, rng, loaded, judge, told_file)


def _record(folder: Path) -> Path | None:
    return next(iter(sorted(folder.glob("*/*/record.jsonl"))), None)


def _told(told_file: Path) -> list[str]:
    text = told_file.read_text() if told_file.exists() else ""
    return text.split("\n")[:-1]  # a line cut short by the kill was not told


def _after_kill(folder: Path, tally: CrashTally, told_file: Path, judge: Any) -> None:
    record = _record(folder)
    raw = record.read_bytes() if record else b""
    whole = raw[: raw.rfind(b"\n") + 1]
    tally.torn += whole != raw.rstrip(b"\0")  # room that was reserved ahead is no torn line
    if not whole:
        tally.early += 1
        return
    bad, why, _ = judge.check(whole)
    if bad:
        tally.violations.append(f"{folder.name}: line {bad} {why} after a kill")


def _finish(folder: Path, tally: CrashTally, rng: random.Random, loaded: Any, judge: Any, told_file: Path) -> None:
    """Start again, carry on to the end, and judge the whole."""
    name, told = folder.name, _told(told_file)
    tally.violations += [f"{name}: the session failed by itself: {t}" for t in told if t.startswith("failed ")]
    had = {path for path in folder.glob("*/*/record.jsonl") if path.read_bytes().count(b"\n")}
    sealed = any(judge.check(path.read_bytes())[2] for path in had)
    try:
        ended = folder if sealed else run_session(
            folder, loaded, seed=f"{name}:end", unwatched_ms=rng.choice(_GAPS_MS), calm=True,
            tell=lambda line: told.append(line),
        )
        record = next(iter(had)) if sealed else ended / "record.jsonl"
        raw = record.read_bytes()
        bad, why, closed = judge.check(raw)
        if bad or not closed:
            tally.violations.append(f"{name}: line {bad} {why or 'is not the end: no seal'} after recovery")
        opened = load_session(record.parent)
        tally.violations += [f"{name}: {text}" for text in rederive(opened)]
        judged = judge_facts(plan_for(loaded), lines_of(raw))
    except (GauntletError, RuntimeError, ValueError, KeyError) as error:
        tally.violations.append(f"{name}: can't be finished: {error}")
        return
    if had and record not in had:
        tally.violations.append(f"{name}: the open session was not found again")
    lost = missing(raw, [t for t in told if not t.startswith("failed ")], judge.sha)
    tally.lost += len(lost)
    tally.told += len(told)
    tally.recovered += not judged.problems and not bad
    tally.violations += [f"{name}: {text}" for text in judged.problems]
    tally.cut += judged.cut
    tally.naive += judged.naive
    tally.verdicts[judged.verdict] = tally.verdicts.get(judged.verdict, 0) + 1


@click.command("crash")
@click.option("--kills", type=click.IntRange(1, 100_000), default=25, show_default=True)
@click.option("--seed", type=click.IntRange(min=0), default=1, show_default=True)
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
def crash(kills: int, seed: int, as_json: bool) -> int:
    """Kill a writing session again and again, recover it, finish it, judge it."""
    root = Path(tempfile.mkdtemp(prefix="gauntlet-crash-"))
    try:
        found = crash_rounds(root, kills, seed).as_json()
    finally:
        shutil.rmtree(root, ignore_errors=True)
    print_figures(found, as_json, width=38)
    return 0
