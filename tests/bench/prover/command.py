"""`assistant measure prover`: seeded faults found, listed as equivalent, missed; and a second model checker's word."""

from __future__ import annotations

import json
import os
import sys
import time
from collections import Counter

import click


@click.command()
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
@click.option("--every", default=1, show_default=True, type=click.IntRange(1), help="Only each so-manieth fault.")
@click.option("--jobs", type=click.IntRange(1, 64), help="Processes side by side. The figures don't depend on it. Default: one a core.")
@click.option("--no-spin", is_flag=True, help="Leave the second model checker out.")
def prover(as_json: bool, every: int, no_spin: bool, jobs: int | None) -> int:
    """Seed faults into plans and core and count how many the prover finds. Exit code 1 where one is missed."""
    from tests.bench.prover.mutants.side_by_side import judge_all, refuted_bases
    from tests.bench.prover.spin.compare import MODELS, compare, missing

    started = last = time.monotonic()
    jobs = jobs or _cores()

    def progress(done: int, of: int) -> None:
        nonlocal last
        if done == of or time.monotonic() - last > 5:
            last = time.monotonic()
            print(f"  {done} of {of} faults judged, {last - started:.0f} s", file=sys.stderr)

    judged = judge_all(jobs, every, progress)
    equivalent = [{"name": j.name, "reason": j.why} for j in judged if j.verdict == "equivalent"]
    missed = [j.name for j in judged if j.verdict == "missed"]
    by_property = dict(sorted(Counter(j.why for j in judged if j.verdict == "refuted").items()))
    refuted_unchanged = refuted_bases()
    skipped: list[str] = []
    spin: list[dict[str, object]] = []
    why_not = "left out as asked" if no_spin else missing()
    if why_not:
        skipped.append(f"spin: {why_not}")
    else:
        spin = [compare(name) for name in MODELS]
    found = {
        "mutants": len(judged), "refuted": len(judged) - len(equivalent) - len(missed), "equivalent": equivalent,
        "missed": missed, "by_property": by_property, "spin": spin, "skipped": skipped,
        "jobs": jobs, "states": sum(j.states for j in judged), "seconds": round(time.monotonic() - started, 1),
        "baseline": {"what": "the unchanged procedures, which must not be refuted", "refuted": refuted_unchanged},
    }
    agree = all(s["agree"] for s in spin)
    if as_json:
        click.echo(json.dumps(found, ensure_ascii=False))
    else:
        click.echo(
            f"{found['mutants']} faults: {found['refuted']} refuted, {len(equivalent)} can't show, {len(missed)} missed."
        )
        for name in missed:
            click.echo(f"  missed: {name}")
        for one in spin:
            click.echo(f"  spin, {one['name']}: {'agrees' if one['agree'] else 'DISAGREES'}, {one['states']} states")
        for line in skipped:
            click.echo(f"  not measured: {line}")
    return 0 if not missed and agree and not found["baseline"]["refuted"] else 1


def _cores() -> int:
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
