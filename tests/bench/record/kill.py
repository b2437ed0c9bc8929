"""The kill harness: real writing processes killed at random instants, judged by the independent verifier.

The child writes decisions and tells, after each append has returned, the last sequence number that it may now
speak of. After the kill: every told line must be there, whole and unchanged; the independent verifier must
find nothing wrong before the torn tail; recovery must append, keep the tail, and the verifier must agree
again. `python -m tests.bench.record.kill CHILD_ARGUMENTS` is the child."""

from __future__ import annotations

import contextlib
import os
import random
import subprocess
import sys
import time
import types
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path
from typing import BinaryIO

WALL = "2026-03-14T09:15:00.000Z"


@dataclass
class KillTally:
    """`kills`: processes killed; `lost`: told facts missing or changed; `torn`: kills that left a torn tail;
    `recovered`: records taken up again; `mid_write`: kills after the child's first append and before its
    end."""

    kills: int = 0
    lost: int = 0
    torn: int = 0
    recovered: int = 0
    never_began: int = 0
    told: int = 0
    problems: list[str] = field(default_factory=list)


def independent_verifier() -> types.ModuleType:
    """The archive's own verifier, run from its text: it shares no code with what it judges."""
    text = resources.files("assistant.record.export").joinpath("independent_verifier.py.txt").read_text()
    module = types.ModuleType("independent_verifier")
    exec(compile(text, "independent_verifier.py.txt", "exec"), module.__dict__)
    return module


def kill_rounds(
    root: Path,
    rounds: int,
    rng: random.Random,
    *,
    command: Sequence[str] | None = None,
    longest_s: float = 0.08,
    early_share: float = 0.15,
    find: Callable[[Path], Path | None] | None = None,
    recover_one: Callable[[Path], None] | None = None,
) -> KillTally:
    """Start, kill and judge `rounds` writing processes below `root`.

    `command`: another writer (the time issue's); `{root}` in it becomes the round's folder. It must print
    "told <last seq> <sha256>" after each append, flushed. `find` gives the record's file below the round's
    folder; `recover_one` takes the record up again. The kill comes up to `longest_s` after the first told
    line; a share of `early_share` is killed whether it has told anything or not."""
    tally = KillTally()
    judge = independent_verifier()
    for number in range(rounds):
        folder = root / f"round-{number:04d}"
        folder.mkdir(parents=True)
        words = [word.replace("{root}", str(folder)) for word in command or _own_command(rng)]
        early = rng.random() < early_share  # some die before or while the record is made
        told = _run_and_kill(words, rng.random() * (0.3 if early else longest_s), early=early)
        tally.kills += 1
        tally.told += len(told)
        record = (find or _find)(folder)
        if record is None:
            tally.never_began += 1
            tally.lost += len(told)
            continue
        _judge(tally, judge, record, told, recover_one or _recover)
    return tally


def _judge(
    tally: KillTally,
    judge: types.ModuleType,
    record: Path,
    told: list[tuple[int, str]],
    recover_one: Callable[[Path], None],
) -> None:
    raw = record.read_bytes()
    whole = raw[: raw.rfind(b"\n") + 1]
    torn = raw[len(whole) :].rstrip(b"\0")  # what follows it is room that was reserved ahead
    tally.torn += bool(torn)
    lines = whole.split(b"\n")[:-1]
    tally.lost += sum(1 for seq, sha in told if seq > len(lines) or judge.sha(lines[seq - 1]) != sha)
    if not lines:
        tally.never_began += 1
        return
    bad, why, sealed = judge.check(whole + raw[len(whole) + len(torn) :])
    if bad:
        tally.problems.append(f"{record}: line {bad} {why} after the kill")
        return
    if sealed:
        return
    recover_one(record)
    after = record.read_bytes()
    bad, why, _ = judge.check(after)
    if bad or not after.startswith(whole) or len(after) <= len(whole):
        tally.problems.append(f"{record}: line {bad} {why} after recovery")
    tails = b"".join(p.read_bytes() for p in sorted(record.parent.glob("tails/*.bin")))
    if tails != torn:
        tally.problems.append(f"{record}: the torn tail was not kept")
    tally.recovered += 1


def _run_and_kill(words: list[str], after_s: float, *, early: bool) -> list[tuple[int, str]]:
    """Kill the process `after_s` after its first told line (`early`: after its start); what it told by
    then."""
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL) as child:
        assert child.stdout
        first = b"" if early else child.stdout.readline()
        deadline = time.monotonic() + after_s
        while time.monotonic() < deadline and child.poll() is None:
            time.sleep(min(0.001, max(0.0, deadline - time.monotonic())))
        child.kill()
        rest = child.stdout.read()
    told = []
    for line in (first + rest).split(b"\n")[:-1]:  # a line cut short by the kill was not told
        with contextlib.suppress(ValueError):
            word, seq, sha = line.decode().split()
            if word == "told":
                told.append((int(seq), sha))
    return told


def _own_command(rng: random.Random) -> list[str]:
    return [sys.executable, "-m", "tests.bench.record.kill", "{root}", str(rng.randrange(1 << 30))]


def _find(folder: Path) -> Path | None:
    return next(iter(folder.glob("*/*/record.jsonl")), None)


def _recover(record: Path) -> None:
    from assistant.record.recover import recover

    recover(record, wall=WALL, why="killed").close()


def child(root: str, seed: str, out: BinaryIO) -> None:
    """The writing process: decisions of one to eight facts of very different lengths, until killed."""
    from assistant.record.writer import create_record

    rng = random.Random(int(seed))
    writer = create_record(
        root,
        {"technician": "Kill Harness"},
        "script",
        enclosure="GB-2",
        stamp="20260314T091500Z",
        session_id="k",
        rules=1,
        wall=WALL,
    )
    out.write(f"told {writer.count} {writer.head}\n".encode())
    out.flush()
    for t_ms in range(100_000):
        facts = [
            {"kind": "spoken", "v": 1, "data": {"text": "x" * rng.choice((5, 80, 900, 20_000))}}
            for _ in range(rng.randint(1, 8))
        ]
        refs = writer.append(facts, t_ms, WALL)
        out.write("".join(f"told {ref.seq} {ref.sha256}\n" for ref in refs).encode())
        out.flush()


if __name__ == "__main__":
    os.environ.setdefault("PYTHONHASHSEED", "0")
    child(sys.argv[1], sys.argv[2], sys.stdout.buffer)
