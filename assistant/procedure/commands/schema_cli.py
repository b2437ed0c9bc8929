"""`assistant schema`: the JSON Schema of the site files."""

from __future__ import annotations

import json
from pathlib import Path

import click

from assistant.errors import StorageError

_KINDS = ("enclosure", "agents", "part", "procedure")


@click.command(name="schema")
@click.argument("kind", type=click.Choice(_KINDS), required=False)
@click.option(
    "--out", type=click.Path(path_type=Path, file_okay=False), help="Write all of them into this folder."
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
def schema(kind: str | None, out: Path | None, as_json: bool) -> int:
    """Print the JSON Schema of a KIND of site file, or write all of them.

    In an editor, point a YAML file at it: # yaml-language-server: $schema=procedure.schema.json
    """
    from assistant.procedure.loading import json_schema

    if out is not None:
        try:
            written = json_schema.write_schemas(out)
        except OSError as error:
            raise StorageError(
                f"The schemas can't be written: {error.strerror}.",
                where=str(out),
                try_next="Choose another folder.",
            ) from error
        click.echo(
            json.dumps({"written": [str(p) for p in written]})
            if as_json
            else "\n".join(f"Wrote {p}" for p in written)
        )
    elif kind is None and as_json:
        click.echo(json.dumps({k: json_schema.schema(k) for k in _KINDS}, indent=2))
    else:
        click.echo(json_schema.schema_text(kind or "procedure"), nl=False)
    return 0
