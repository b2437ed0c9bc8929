"""The command line: the table of commands. Each one's module is imported only when the command is used."""

from __future__ import annotations

from collections.abc import Sequence

import click

from assistant import __version__
from assistant.lazy_commands import LazyGroup
from assistant.run_command import run

# name -> (where the click command is, its one line in --help); the order is the one a newcomer meets them in
COMMANDS = {
    "demo": ("assistant.station.demo_cli:demo", "One whole clean with a virtual technician, by voice."),
    "run": ("assistant.station.run_cli:run", "Live: be talked through a procedure."),
    "replay": ("assistant.station.replay_cli:replay", "Show a record step by step, and whether it holds."),
    "selftest": ("assistant.selftest:command", "Run the project's tests."),
}


@click.group(cls=LazyGroup, lazy=COMMANDS, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="assistant")
def group() -> None:
    """Gauntlet: a voice- and timer-driven, hands-free step assistant for cleaning glove-port enclosures."""


def main(argv: Sequence[str]) -> int:
    """Runs one command; returns the exit code. `argv` is without the program's name."""
    return run(group, argv)
