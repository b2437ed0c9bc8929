"""`assistant measure prover`: seeded faults found, listed as equivalent, missed; and a second model checker's word."""

from __future__ import annotations

import json
import sys
import time

import click


@click.command()
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
@click.option("--every", default=1, show_default=True, type=click.IntRange(1), help="Only each so-manieth fault.")
@click.option("--no-spin", is_flag=True, help="Leave the second model checker out.")
def prover(as_json: bool, every: int, no_spin: bool) -> int:
    """Seed faults into plans and core and count how many the prover finds. Exit code 1 where one is missed."""
    from assistant.prover.mutants.judge import Bases, judge, mutants
    from assistant.prover.spin.compare import MODELS, compare, missing

    started = time.monotonic()
    bases = Bases()
    judged, equivalent, missed = [], [], []
    by_property: dict[str, int] = {}
    for number, mutant in enumerate(mutants(bases)):
        if number % every:
            continue
        outcome = judge(bases, mutant)
        judged.append(outcome)
        if outcome.verdict == "refuted":
            by_property[outcome.why] = by_property.get(outcome.why, 0) + 1
        elif outcome.verdict == "equivalent":
            equivalent.append({"name": outcome.name, "reason": outcome.why})
        else:
            missed.append(outcome.name)
        if len(judged) % 10 == 0:
            print(f"  {len(judged)} faults judged, {time.monotonic() - started:.0f} s", file=sys.stderr)
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
        "seconds": round(time.monotonic() - started, 1),
        "baseline": {"what": "the unchanged procedures, which must not be refuted", "refuted": _baseline(bases)},
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


def _baseline(bases) -> list[str]:
    """The bases themselves, searched as the faults are: names of those refuted (none, or the count is worthless)."""
    from assistant.prover.mutants.judge import BASES, Mutant, judge

    found = []
    for name in BASES:
        plan, _ = bases.get(name)
        if judge(bases, Mutant(name, name, plan)).verdict == "refuted":
            found.append(name)
    return found
