"""`assistant measure record`: figures of the record room, each with its baseline from the same run."""

from __future__ import annotations

import hashlib
import json
import random
import shutil
import sqlite3
import tempfile
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path
from statistics import median
from typing import Any

import click

from assistant.account.deep import fold_deep
from assistant.record.commands.shared import print_json, records_root
from assistant.record.lines.canonical import to_canonical
from assistant.record.reader import read_record
from assistant.record.storage.index import find_record, list_records
from assistant.record.verify import deep_verify, verify
from assistant.record.writer import create_record
from tests.bench.record.kill import kill_rounds
from tests.bench.record.sessions import STAMP, WALL, core_record, long_record, sample_fact
from tests.bench.record.tamper import tamper_rounds

# A session's length; and long enough that the database has begun to write over its own log, where it needs no new
# room on the disk and is quicker than a file that only grows.
APPENDS, LONG_APPENDS = 400, 4_000
RUNS, FACTS, RECORDS = 3, 20_000, 10_000
TAMPERINGS, KILLS = 1_000, 25  # with --full 20 and 12 times as many


@click.command("record")
@click.option("--full", is_flag=True, help="20 000 tamperings and 300 kills in place of 1 000 and 25.")
@click.option(
    "--folder", type=click.Path(file_okay=False), help="Measure on this disk (default: where records live)."
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
def record(full: bool, folder: str | None, as_json: bool) -> int:
    """Append, verify, replay, list, tamper and kill; the goals stand beside the figures."""
    place = Path(folder) if folder else records_root()
    place.mkdir(parents=True, exist_ok=True)
    root = Path(tempfile.mkdtemp(prefix=".measure-", dir=place))
    try:
        found = measure_all(root, full=full, say=lambda text: click.echo(text, err=True))
    finally:
        shutil.rmtree(root, ignore_errors=True)
    if as_json:
        print_json(found)
    else:
        for name, value in found.items():
            click.echo(f"{name:22} {value}")
    return 0


def measure_all(root: Path, *, full: bool, say: Callable[[str], None]) -> dict[str, Any]:
    """Every figure, as JSON values. Seconds end in _s, ratios in _ratio (ours over the baseline's)."""
    say("Appending facts, against SQLite on the same disk")
    found: dict[str, Any] = measure_append(root, APPENDS)
    found |= {f"long_{name}": value for name, value in measure_append(root, LONG_APPENDS).items()}
    say("Verifying and replaying 20 000 facts")
    found |= measure_reading(root)
    say("Listing 10 000 records")
    found |= measure_store(root)
    say("Tampering")
    data = (long_record(root, 200, "tamper") / "record.jsonl").read_bytes()
    tamper = tamper_rounds(data, TAMPERINGS * (20 if full else 1), random.Random(1))
    found |= {"tamperings": tamper.tamperings, "missed": len(tamper.missed), "misnamed": len(tamper.misnamed)}
    say("Killing writers")
    (root / "kills").mkdir()
    kills = kill_rounds(root / "kills", KILLS * (12 if full else 1), random.Random(2))
    found |= {
        "kills": kills.kills,
        "lost": kills.lost,
        "kill_torn": kills.torn,
        "kill_told": kills.told,
        "kill_problems": len(kills.problems),
        "skipped": [],
    }
    return found


def measure_append(root: Path, appends: int) -> dict[str, Any]:
    """One fact an append, synced, against one row an insert into a WAL database with synchronous=FULL.

    The two take turns in short blocks, so that both meet the same disk; a ratio is the median of three runs.
    """
    ratios: dict[str, list[float]] = {"p50": [], "p99": []}
    ours_ms: list[float] = []
    theirs_ms: list[float] = []
    for run in range(RUNS):
        writer = create_record(
            root,
            {"technician": "Bench"},
            "script",
            enclosure="GB-2",
            stamp=STAMP,
            session_id=f"append-{appends}-{run}",
            rules=1,
            wall=WALL,
        )
        base = sqlite3.connect(root / f"base-{appends}-{run}.sqlite", isolation_level=None)
        base.execute("PRAGMA journal_mode=WAL")
        base.execute("PRAGMA synchronous=FULL")
        base.execute("CREATE TABLE facts (seq INTEGER PRIMARY KEY, line BLOB)")
        ours: list[float] = []
        theirs: list[float] = []
        for block in range(appends // 20):
            for number in range(block * 20, block * 20 + 20):
                fact = sample_fact(number)
                began = time.perf_counter()
                writer.append([fact], number, WALL)
                ours.append(time.perf_counter() - began)
            for number in range(block * 20, block * 20 + 20):
                fact = sample_fact(number)
                began = time.perf_counter()
                base.execute("INSERT INTO facts (line) VALUES (?)", (to_canonical(fact),))
                theirs.append(time.perf_counter() - began)
        writer.close()
        base.close()
        for name, share in (("p50", 0.50), ("p99", 0.99)):
            ratios[name].append(_at(ours, share) / _at(theirs, share))
        ours_ms += [1000 * s for s in ours]
        theirs_ms += [1000 * s for s in theirs]
    return {
        "append_p50_ratio": round(median(ratios["p50"]), 3),
        "append_p99_ratio": round(median(ratios["p99"]), 3),
        "append_p50_ms": round(_at(ours_ms, 0.5), 3),
        "append_p99_ms": round(_at(ours_ms, 0.99), 3),
        "sqlite_p50_ms": round(_at(theirs_ms, 0.5), 3),
        "sqlite_p99_ms": round(_at(theirs_ms, 0.99), 3),
    }


def measure_reading(root: Path) -> dict[str, Any]:
    """Verify and deep replay of 20 000 facts of the real core; the baseline parses and hashes the lines
    only."""
    folder = core_record(root, FACTS)
    verify_s = _best(lambda: _require(verify(folder, witness=False).complete))

    def deep() -> None:
        _require(verify(folder, witness=False).complete)
        _require(not deep_verify(read_record(folder), fold_deep))

    def plain() -> None:
        for raw in (folder / "record.jsonl").read_bytes().split(b"\n")[:-1]:
            json.loads(raw)
            hashlib.sha256(raw).digest()

    deep_s, plain_s = _best(deep, 2), _best(plain)
    short, long = long_record(root, 300, "short"), long_record(root, 6000, "longer")
    return {
        "verify_20k_s": round(verify_s, 3),
        "deep_20k_s": round(deep_s, 3),
        "parse_and_hash_20k_s": round(plain_s, 3),
        "verify_memory_growth_kib": max(0, _peak_kib(long) - _peak_kib(short)),
    }


def measure_store(root: Path) -> dict[str, Any]:
    """List 10 000 records and open one; the baseline walks the same folders and opens nothing."""
    store = root / "store"
    data = (long_record(root, 8, "one") / "record.jsonl").read_bytes()
    for number in range(RECORDS):
        folder = (
            store / f"GB-{number % 4}" / f"202603{1 + number % 28:02d}T{number % 24:02d}1500Z-r{number:05d}"
        )
        folder.mkdir(parents=True)
        (folder / "record.jsonl").write_bytes(data)

    def open_one() -> None:
        _require(len(list_records(store)) == RECORDS)
        _require(find_record(store, f"r{RECORDS - 1:05d}").open().seal is not None)

    def walk() -> None:
        _require(sum(1 for _ in store.glob("*/*")) == RECORDS)

    return {"store_open_s": round(_best(open_one), 3), "walk_only_s": round(_best(walk), 3)}


def _at(values: list[float], share: float) -> float:
    return sorted(values)[min(len(values) - 1, round(share * (len(values) - 1)))]


def _best(what: Callable[[], object], times: int = 3) -> float:
    took = []
    for _ in range(times):
        began = time.perf_counter()
        what()
        took.append(time.perf_counter() - began)
    return min(took)


def _peak_kib(folder: Path) -> int:
    tracemalloc.start()
    verify(folder, witness=False)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak // 1024


def _require(holds: object) -> None:
    if not holds:
        raise AssertionError("what is measured didn't do its work")
