"""The command line: the table of commands. Each one's module is imported only when the command is used."""

from __future__ import annotations

from collections.abc import Sequence

import click

from assistant import __version__
from assistant.lazy_commands import LazyGroup
from assistant.run_command import run

# name -> (where the click command is, its one line in --help); the order is the one a newcomer meets them in
COMMANDS = {
    "demo": ("assistant.demo.demo_cli:demo", "One whole clean with a virtual technician, by voice."),
    "practice": ("assistant.practice.practice_cli:practice", "Practise a procedure without an enclosure."),
    "run": ("assistant.station.live.run_cli:run", "Live: be talked through a procedure."),
    "replay": ("assistant.station.account.replay_cli:replay", "Show a record step by step, and whether it holds."),
    "review": ("assistant.review.review_cli:review", "The supervisor's pages: replay, decide, sign, register."),
    "accounts": ("assistant.review.people.accounts_cli:accounts", "Who may sign in to the pages, and as what."),
    "signoff": ("assistant.review.people.signoff_cli:command", "Who was signed off for live work, and taking it back."),
    "check": ("assistant.procedure.commands.check_cli:check", "Check site files against the rules."),
    "prove": ("assistant.prover.prove_cli:prove", "Walk every path of a procedure."),
    "kit": ("assistant.procedure.commands.kit_cli:kit", "What must be within reach before gloving up."),
    "sheet": ("assistant.procedure.commands.sheet_cli:sheet", "The printed procedure, for the wall."),
    "forecast": ("assistant.procedure.commands.forecast_cli:forecast", "How long a procedure takes."),
    "approve": ("assistant.station.approving.approve_cli:approve", "Approve a revision for live use."),
    "schema": ("assistant.procedure.commands.schema_cli:schema", "JSON Schema of the site files, for editors."),
    "verify": ("assistant.station.commands.verify_cli:command", "Whether a record is whole and unchanged."),
    "export": ("assistant.station.commands.export_cli:command", "A record as report, table and archive."),
    "tag": ("assistant.station.commands.tag_cli:command", "The status label for the door."),
    "transcribe": ("assistant.record.commands.transcribe_cli:command", "Enter a clean that was kept on paper."),
    "clips": ("assistant.record.commands.clips_cli:command", "Which clips of voices are kept, and how long."),
    "keys": ("assistant.record.commands.keys_cli:command", "Signing keys of people."),
    "devices": ("assistant.hearing.commands.devices_cli:devices", "Microphones and headsets found here."),
    "model": ("assistant.hearing.commands.model_cli:model", "Speech models: get one, or where to put it."),
    "vocabulary": ("assistant.hearing.commands.vocabulary_cli:vocabulary", "The words in use, and how easily confused."),
    "profile": ("assistant.hearing.commands.profile_cli:profile", "Learn how one person's commands sound."),
    "hear": ("assistant.hearing.commands.hear_cli:hear", "What would be heard in a sound file."),
    "soak": ("tests.bench.practice.soak_cli:soak", "Thousands of simulated sessions against an oracle."),
    "measure": ("assistant.measure:group", "Figures, each with its baseline, as JSON."),
    "selftest": ("assistant.selftest:command", "Run the project's tests."),
}


@click.group(cls=LazyGroup, lazy=COMMANDS, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="assistant")
def group() -> None:
    """Gauntlet: a voice- and timer-driven, hands-free step assistant for cleaning glove-port enclosures."""


def main(argv: Sequence[str]) -> int:
    """Runs one command; returns the exit code. `argv` is without the program's name."""
    return run(group, argv)
