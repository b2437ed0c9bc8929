"""`assistant measure mutants`: faults planted into the code by rule, and how many of them a test notices."""

from __future__ import annotations

import json
import re
import subprocess
import tempfile
import time
from pathlib import Path
from typing import Any

import click

from tests.bench.mutants.areas import AREAS, ROOT
from tests.bench.mutants.run import Run, RunEnded
from tests.bench.mutants.sample import pick, wilson

EQUIVALENTS = Path(__file__).parent / "equivalents.json"
AREA_NAMES = tuple(area.name for area in AREAS)


@click.command("mutants")
@click.option("--sample", type=click.IntRange(1), default=100, show_default=True, help="How many mutants.")
@click.option("--seed", type=int, default=1, show_default=True, help="Which ones.")
@click.option(
    "--area", "names", multiple=True, type=click.Choice(AREA_NAMES), help="Only there (more than once)."
)
@click.option("--changed", metavar="BASE", help="Every mutant on lines changed since that commit, no sample.")
@click.option(
    "--within", type=click.IntRange(1), metavar="SECONDS", help="Stop then, and say how many are left."
)
@click.option("--journal", type=click.Path(dir_okay=False), help="Keep verdicts here, and go on from them.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
def mutants(
    sample: int,
    seed: int,
    names: tuple[str, ...],
    changed: str | None,
    within: int | None,
    journal: str | None,
    as_json: bool,
) -> int:
    """Mutants killed and survived by room. With --changed the exit code is 1 if one survives without a reason."""
    until = time.monotonic() + within if within else None
    areas = [area for area in AREAS if not names or area.name in names]
    only = changed_lines(changed) if changed else None
    chosen = pick(ROOT, areas, None if changed else sample, seed, only)
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        run = Run(ROOT, Path(folder), Path(journal) if journal else None, until, narrow=bool(changed))
        try:
            verdicts = {
                area.name: run.judge(area, chosen[area.name], say) for area in areas if chosen[area.name]
            }
        except RunEnded as ended:
            raise click.ClickException(
                f"{ended}\n  Try: the same tests with pytest, on code as it is"
            ) from None
    found = summary(verdicts, ROOT, json.loads(EQUIVALENTS.read_text(encoding="utf-8")))
    found |= {"changed_since": changed} if changed else {"sample": sample, "seed": seed}
    if as_json:
        click.echo(json.dumps(found, indent=2))
    else:
        tell(found)
    return 1 if changed and any(not survivor["reason"] for survivor in found["survivors"]) else 0


def say(text: str) -> None:
    """How far it is, beside the figures."""
    click.echo(text, err=True)


def changed_lines(base: str) -> dict[str, set[int]]:
    """File -> the lines that are new or other than in that commit."""
    asked = subprocess.run(
        ["git", "diff", "-U0", "--no-color", base, "--", "assistant"],
        cwd=ROOT,
        capture_output=True,
        text=True,
    )
    if asked.returncode:
        raise click.ClickException(
            f"No changes since {base!r} could be read: {asked.stderr.strip()}\n"
            "  Try: a commit, branch or tag of this checkout, e.g. --changed HEAD~1"
        )
    lines: dict[str, set[int]] = {}
    file = ""
    for text in asked.stdout.splitlines():
        if text.startswith("+++ "):
            file = text.removeprefix("+++ ").removeprefix("b/")
        elif hunk := re.match(r"@@ -\S+ \+(\d+)(?:,(\d+))? @@", text):
            first, count = int(hunk[1]), int(hunk[2] or 1)
            lines.setdefault(file, set()).update(range(first, first + count))
    return lines


def summary(
    verdicts: dict[str, list[dict[str, Any]]], root: Path, reasons: list[dict[str, str]]
) -> dict[str, Any]:
    """The figures. A survivor's reason goes by file, text of its line, and change, so that it outlives a move."""
    known = {(one["file"], one["text"], one["change"]): one["reason"] for one in reasons}
    rooms, survivors = {}, []
    for name, judged in verdicts.items():
        for one in judged:
            if one["killed"] is False:
                lines = (root / one["file"]).read_text(encoding="utf-8").splitlines()
                text = lines[one["line"] - 1].strip() if one["line"] else ""
                survivors.append(
                    {
                        "where": f"{one['file']}:{one['line']}",
                        "text": text,
                        "change": one["change"],
                        "tests": one["tests"],
                        "reason": known.get((one["file"], text, one["change"]), ""),
                    }
                )
        rooms[name] = rate([one["killed"] for one in judged])
    both = rate([one["killed"] for judged in verdicts.values() for one in judged])
    return {"all": both, "rooms": rooms, "survivors": survivors}


def rate(killed: list[bool | None]) -> dict[str, Any]:
    """Counts, the share killed and its 95 % bound; None counts as not judged."""
    known = [one for one in killed if one is not None]
    found: dict[str, Any] = {
        "killed": sum(known),
        "survived": len(known) - sum(known),
        "not_judged": len(killed) - len(known),
    }
    if known:
        low, high = wilson(sum(known), len(known))
        found |= {
            "killed_percent": round(100 * sum(known) / len(known), 1),
            "bound_percent": [round(100 * low, 1), round(100 * high, 1)],
        }
    return found


def tell(found: dict[str, Any]) -> None:
    """The figures as lines."""
    for name, one in [*found["rooms"].items(), ("all", found["all"])]:
        share = (
            f", {one['killed_percent']} % killed (95 %: {one['bound_percent'][0]} to {one['bound_percent'][1]})"
            if "killed_percent" in one
            else ""
        )
        click.echo(
            f"{name:10} killed {one['killed']}, survived {one['survived']}, "
            f"not judged {one['not_judged']}{share}"
        )
    for one in found["survivors"]:
        click.echo(
            f"{one['where']}: {one['change']}  ({one['reason'] or 'no reason given'}; {one['tests']} tests)"
        )
