"""`assistant sheet`: the printed procedure."""

from __future__ import annotations

import json
from pathlib import Path

import click

from assistant.errors import StorageError


@click.command(name="sheet")
@click.argument("procedure")
@click.option(
    "--out", type=click.Path(path_type=Path, dir_okay=False), help="The PDF to write [PROCEDURE.pdf]."
)
@click.option("--size", type=click.Choice(["a4", "letter"]), default="a4", show_default=True)
@click.option(
    "--option",
    "options",
    multiple=True,
    metavar="NAME=yes|no",
    help="An answer already known; steps that don't apply are left out.",
)
@click.option(
    "--procedures", "--folder", "folder", type=click.Path(path_type=Path, exists=True, file_okay=False),
    help="Folder of the site's files, if it isn't `procedures`.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
def sheet(
    procedure: str, out: Path | None, size: str, options: tuple[str, ...], folder: Path | None, as_json: bool
) -> int:
    """Print PROCEDURE as a PDF with step boxes and time boxes, for the wall and for the day without a computer."""
    import hashlib

    from assistant.procedure.commands.options_cli import parse_options
    from assistant.procedure.compiling.compile import compile_plan
    from assistant.procedure.loading.load import load_procedure
    from assistant.procedure.paper.sheet import sheet_pdf

    loaded = load_procedure(procedure, folder)
    plan = compile_plan(loaded)
    given = parse_options(plan, options)
    pdf = sheet_pdf(loaded, size, given or None)
    path = out or Path(f"{plan.procedure}.pdf")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(pdf)
    except OSError as error:
        raise StorageError(
            f"The sheet can't be written: {error.strerror}.",
            where=str(path),
            try_next="Choose another place with --out.",
        ) from error
    if as_json:
        click.echo(
            json.dumps(
                {
                    "path": str(path),
                    "bytes": len(pdf),
                    "sha256": hashlib.sha256(pdf).hexdigest(),
                    "procedure": plan.procedure,
                    "revision": plan.revision,
                    "content_sha256": plan.sha256,
                },
                indent=2,
            )
        )
    else:
        click.echo(f"Wrote {path}")
    return 0
