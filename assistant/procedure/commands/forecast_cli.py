"""`assistant forecast`: how long a procedure takes and how much of it is waiting."""

from __future__ import annotations

import json
from pathlib import Path

import click


@click.command(name="forecast")
@click.argument("procedure")
@click.option(
    "--option", "options", multiple=True, metavar="NAME=yes|no", help="An answer given at the start."
)
@click.option("--seed", type=click.IntRange(min=0), default=1, show_default=True, help="Seed of the simulation; the same gives the same.")
@click.option("--runs", default=1000, show_default=True, type=click.IntRange(1, 100_000))
@click.option(
    "--procedures", "--folder", "folder", type=click.Path(path_type=Path, exists=True, file_okay=False),
    help="Folder of the site's files, if it isn't `procedures`.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
def forecast(
    procedure: str, options: tuple[str, ...], seed: int, runs: int, folder: Path | None, as_json: bool
) -> int:
    """Say how long PROCEDURE takes, how much of it is waiting, and what sets its end."""
    from assistant.procedure.commands.options_cli import parse_options
    from assistant.procedure.compiling.compile import compile_plan
    from assistant.procedure.loading.load import load_procedure
    from assistant.procedure.paper.forecast import forecast as run_forecast
    from assistant.procedure.paper.run_times import clock

    plan = compile_plan(load_procedure(procedure, folder))
    f = run_forecast(plan, parse_options(plan, options), seed=seed, runs=runs)
    if as_json:
        click.echo(
            json.dumps(
                {
                    "procedure": plan.procedure,
                    "revision": plan.revision,
                    "options": f.options,
                    "steps": f.steps,
                    "expected_s": round(f.expected_ms / 1000),
                    "median_s": round(f.median_ms / 1000),
                    "p90_s": round(f.p90_ms / 1000),
                    "waiting_s": round(f.waiting_ms / 1000),
                    "waiting_share": round(f.waiting_share, 3),
                    "rewets": f.rewets,
                    "critical": list(f.critical),
                    "slack_s": {k: round(v / 1000) for k, v in f.slack_ms.items()},
                    "seed": seed,
                    "runs": runs,
                },
                indent=2,
            )
        )
        return 0
    answers = ", ".join(f"{k}: {'yes' if v else 'no'}" for k, v in f.options.items())
    click.echo(f"{plan.title} (revision {plan.revision})")
    if answers:
        click.echo(f"Answers: {answers}")
    click.echo(
        f"Median {clock(f.median_ms)}; nine times in ten at most {clock(f.p90_ms)} ({runs} simulated runs)."
    )
    click.echo(
        f"By the estimates alone {clock(f.expected_ms)}, of which {clock(f.waiting_ms)} is waiting "
        f"({f.waiting_share:.0%}). Re-wets: {f.rewets}. Steps: {f.steps}."
    )
    if f.slack_ms:
        click.echo("Being quicker saves nothing at: " + ", ".join(sorted(f.slack_ms)) + ".")
    return 0
