"""`assistant run PROCEDURE`: live, with a headset; or a script through the core."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from assistant.errors import UsageError


@click.command()
@click.argument("procedure")
@click.option("--technician", help="Who works at the gauntlets; asked for when left out.")
@click.option("--records", type=click.Path(path_type=Path), help="Folder for the site's records.")
@click.option("--procedures", "folder", type=click.Path(path_type=Path), help="Folder of the site's files.")
@click.option("--microphone", help="Input device, by number or name (assistant devices).")
@click.option("--headset", help="Output device, by number or name.")
@click.option("--keys", "with_keys", is_flag=True, help="Foot switch or a second person's keyboard as well.")
@click.option("--no-voice-in", is_flag=True, help="Keys only: no microphone is opened.")
@click.option("--language", default="en", show_default=True)
@click.option("--engine", type=click.Choice(["vosk", "pocketsphinx"]))
@click.option("--model", help="A Vosk model: folder, .zip or .aar.")
@click.option("--option", "options", multiple=True, metavar="NAME=yes|no", help="Answer a start question beforehand.")
@click.option("--brief", is_flag=True, help="Short wording from the start.")
@click.option("--closed-headset", is_flag=True, help="The microphone can't hear the assistant.")
@click.option("--profile", metavar="NAME", help="Hearing profile to use; else the technician's own where there is one.")
@click.option("--alarms", type=click.Choice(["one-ear", "headset", "no"]), help="How the room's alarms are heard; asked for when left out.")
@click.option("--script", type=click.Path(path_type=Path), help="Inputs from JSON lines; the record is of kind script.")
@click.option("--require-practice", "rule", metavar="RULE", help="Refuse whoever isn't signed off by this rule: a file, or default (sign_off.yaml in the evidence folder, else the one that comes with the program).")
@click.option("--evidence-folder", type=click.Path(path_type=Path), help="Folder of trainees' practice evidence.")
@click.option("--plain", is_flag=True, help="Plain lines, no live screen.")
@click.option("--list-keys", is_flag=True, help="Show the keys and stop.")
def run(procedure: str, **chosen: Any) -> int:
    """Run PROCEDURE live: spoken through, confirmed by voice, foot switch or keys.

    An open session on the same enclosure is found and gone on with. Defers to local rules, the maker's
    instructions and licensed practice.
    """
    if chosen["list_keys"]:
        from assistant.station.live.keys import key_help

        click.echo(key_help())
        return 0
    rule, evidence = chosen.pop("rule"), chosen.pop("evidence_folder")
    if chosen["script"]:
        return _script(procedure, chosen)
    if rule:
        from assistant.station.live.signed_off import require_sign_off

        chosen["technician"] = chosen["technician"] or click.prompt("Who works at the gauntlets")
        require_sign_off(chosen["technician"], procedure, rule, site=chosen["folder"], evidence=evidence)
    from assistant.station.live.parts import LiveChoices
    from assistant.station.live.session import run_live

    options = parse_options(chosen.pop("options"))
    return run_live(procedure, LiveChoices(options=options, **{
        k: v for k, v in chosen.items() if k not in ("script", "list_keys")
    }))


def parse_options(texts: tuple[str, ...]) -> tuple[tuple[str, bool], ...]:
    """("rinse=yes", ...) as pairs. Raises UsageError."""
    found = []
    for text in texts:
        name, _, answer = text.partition("=")
        if answer.lower() not in ("yes", "no", "true", "false") or not name:
            raise UsageError(f"'{text}' isn't an option.", expected="NAME=yes or NAME=no")
        found.append((name, answer.lower() in ("yes", "true")))
    return tuple(found)


def _script(procedure: str, chosen: dict[str, Any]) -> int:
    from assistant.errors import ReplayMismatchError
    from assistant.station.live.setup import known_options, prepare
    from assistant.station.loop.screen import PlainScreen
    from assistant.station.script.run import run_script
    from assistant.station.script.script import read_script

    ready = prepare(procedure, folder=chosen["folder"], language=chosen["language"])
    options = known_options(ready.plan, parse_options(chosen["options"]))
    script = read_script(chosen["script"])
    folder, counted, problems, verdict = run_script(
        ready, script, person=chosen["technician"] or "Script", records=chosen["records"],
        screen=PlainScreen(ready.plan, sys.stdout), options=options,
    )
    click.echo(f"\n  verdict {verdict}; {counted.deviations} deviations; record: {folder}")
    if problems:
        raise ReplayMismatchError("; ".join(problems), where=str(folder))
    return 0
