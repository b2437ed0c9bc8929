"""`assistant devices`: the sound devices the system knows."""

from __future__ import annotations

import json

import click

from assistant.hearing.sound.headset import devices as find_devices


@click.command("devices")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def devices(as_json: bool) -> None:
    """List microphones and loudspeakers."""
    found = find_devices()
    if as_json:
        click.echo(json.dumps({"devices": [vars(d) for d in found]}, ensure_ascii=False))
        return
    if not found:
        click.echo("The system knows no sound device. Use --keys, or the demo.")
    for d in found:
        marks = " (default microphone)" * d.default_input + " (default loudspeaker)" * d.default_output
        click.echo(f"  {d.index:3}  {d.name}  in {d.inputs}, out {d.outputs}{marks}")
