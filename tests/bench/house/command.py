"""`assistant measure house`: what a newcomer must know, in numbers, none of them counted by hand."""

from __future__ import annotations

import json
from typing import Any

import click

from tests.bench.house.trip import trip
from tests.bench.house.weights import ROOT, lines_and_files, lint_findings, type_errors
from tests.test_rooms import both_ways, circles, reaches


def measured(tools: bool) -> dict[str, Any]:
    """Every figure; what a tool that isn't here would have told stands under `not_measured`."""
    graph = reaches(ROOT / "assistant")
    way = trip()
    found: dict[str, Any] = {
        "rooms": lines_and_files(),
        "word_files": len(way.files), "word_forms": sorted(way.forms), "word_calls": way.calls,
        "word_way": sorted(way.files),
        "circles": [list(ring) for ring in circles(graph)], "both_ways": [list(pair) for pair in both_ways(graph)],
    }
    if tools:
        found |= {"type_errors": type_errors(), "lint_findings": lint_findings()}
    found["not_measured"] = sorted(name for name, value in found.items() if value is None)
    return found


@click.command()
@click.option("--tools/--no-tools", default=True, show_default=True, help="Also ask the type checker and the linter.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def house(tools: bool, as_json: bool) -> None:
    """Lines and files per room, a word's way, circles, type errors, lint findings."""
    found = measured(tools)
    if as_json:
        click.echo(json.dumps(found, sort_keys=True))
        return
    for place, weight in sorted(found["rooms"].items()):
        click.echo(f"{place:28} {weight['files']:4} files {weight['lines']:6} lines")
    click.echo(f"a word's way: {found['word_files']} files, forms {', '.join(found['word_forms'])}")
    click.echo(f"circles: {len(found['circles'])}; rooms both ways: {len(found['both_ways'])}")
    for name in ("type_errors", "lint_findings"):
        if name in found:
            click.echo(f"{name.replace('_', ' ')}: {'not measured' if found[name] is None else found[name]}")
