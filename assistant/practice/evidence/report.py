"""What a trainee is shown at the end: the score, explained, and where to listen again."""

from __future__ import annotations

import click

from assistant.account.times import clock_text
from assistant.practice.session_run import Practised
from assistant.practice.trainee.levels import ASSESSMENT
from assistant.station.account.json_out import print_json


def report(done: Practised, as_json: bool) -> None:
    """Print the score of a session; with `as_json` one JSON object."""
    s = done.score
    if as_json:
        print_json({
            "kind": "practice", "level": done.level.id, "seed": done.seed, "verdict": done.verdict, "score": s.as_json(),
            "record": str(done.folder), "replayed": not done.problems, "drills": [d.word for d in done.drills],
            "simulated_s": round(done.ended_ms / 1000, 3), "skipped": [],
        })
        return
    ended = "not brought to an end" if done.verdict == "open" else done.verdict
    whole = f"{ended}, {s.total:g} of 100" if done.verdict in ("complete", "incomplete") else f"{ended}; {s.total:g} of 100 up to there"
    click.echo(f"\n  Practice, {done.level.id}: {whole}")
    for part in s.parts:
        click.echo(f"  {part.name:<12} {part.measured:<28} {-part.points_off or 0:>6g}   asked for: {part.against}")
    for word, took in s.reactions_ms.items():
        click.echo(f"  {word.replace('_', ' '):<12} named after {took / 1000:.1f} s")
    for moment in s.better:
        click.echo(f"  Do better: at {clock_text(moment.at_ms)}, {moment.text.rstrip('.')}{'' if moment.text.endswith('?') else '.'}")
    if s.better:
        click.echo(f"  To hear these moments again: assistant replay {done.folder}")
    if done.level.id == ASSESSMENT:
        click.echo("  Critical errors: " + (str(len(s.critical)) if s.critical else "none"))
    click.echo(f"  Record: {done.folder}")
