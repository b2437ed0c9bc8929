"""`assistant kit`: what must be within reach before gloving up."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path

import click


@click.command(name="kit")
@click.argument("procedure")
@click.option(
    "--option", "options", multiple=True, metavar="NAME=yes|no", help="An answer given at the start."
)
@click.option(
    "--procedures", "--folder", "folder", type=click.Path(path_type=Path, exists=True, file_okay=False),
    help="Folder of the site's files, if it isn't `procedures`.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
def kit(procedure: str, options: tuple[str, ...], folder: Path | None, as_json: bool) -> int:
    """List what PROCEDURE needs inside or within reach, with boxes for lots and expiry dates."""
    from assistant.procedure.commands.options_cli import parse_options
    from assistant.procedure.compiling.compile import compile_plan
    from assistant.procedure.loading.load import load_procedure
    from assistant.procedure.paper.kit import kit as work_out

    loaded = load_procedure(procedure, folder)
    k = work_out(loaded, parse_options(compile_plan(loaded), options))
    if as_json:
        click.echo(json.dumps(asdict(k), indent=2, ensure_ascii=False))
        return 0
    click.echo(f"Kit for {k.title}, revision {k.revision}, {k.enclosure}")
    for name, yes in k.answers.items():
        click.echo(f"  {name}: {'yes' if yes else 'no'}")
    click.echo("Agents")
    for a in k.agents:
        click.echo(f"  [ ] {a.name}: {a.wipes} wipes, {a.ml} mL")
        if a.dilution:
            click.echo(f"      {a.dilution}")
        click.echo(
            "      lot [__________]  expiry [__________]  opened [__________]"
            + (f"  use within {a.in_use_life_h:g} h of opening" if a.in_use_life_h else "")
        )
    for name in k.spare_packs:
        click.echo(f"  [ ] {name}: a sealed spare pack")
    click.echo("Tools")
    for name, count in k.tools:
        click.echo(f"  [ ] {name} x {count}")
    click.echo(f"  [ ] waste bags x {k.waste_bags}")
    click.echo("Protective equipment")
    for name, count in k.protective:
        click.echo(f"  [ ] {name} x {count}")
    click.echo(f"  [ ] spare {'outer ' if k.spare_inner_pairs else ''}gloves, pairs x {k.spare_glove_pairs}")
    if k.spare_inner_pairs:
        click.echo(f"  [ ] spare inner gloves, pairs x {k.spare_inner_pairs}")
    click.echo(f"Headset: battery for at least {k.headset_min} minutes")
    click.echo("Counts include a margin. Local rules and the makers' instructions come first.")
    return 0
