"""A start is quick because it imports little: the modules of a fresh process against an allowed set."""

from __future__ import annotations

import importlib
import json
import subprocess
import sys
from pathlib import Path

import click
import pytest

from assistant.cli import COMMANDS, group
from assistant.lazy_commands import LazyGroup

ROOT = Path(__file__).resolve().parents[2]

ALLOWED_PACKAGES = {"click", "colorama", "typing_extensions"}
ALLOWED_OF_OURS = {
    "assistant", "assistant.__main__", "assistant.bootstrap", "assistant.bootstrap.environment",
    "assistant.bootstrap.launch", "assistant.bootstrap.locks", "assistant.bootstrap.pip_run",
    "assistant.bootstrap.places", "assistant.bootstrap.problem", "assistant.bootstrap.python_check",
    "assistant.bootstrap.start_lock", "assistant.cli", "assistant.errors", "assistant.lazy_commands", "assistant.run_command",
}
# So slow or so dependent on the machine that one of them at start would spoil every command.
NEVER_AT_START = {"asyncio", "multiprocessing", "numpy", "rich", "vosk", "pydantic", "sqlalchemy", "ssl"}


def modules_after(program: str) -> set[str]:
    """The modules loaded in a fresh process after `program`, less those that Python itself always loads."""
    report = "\nimport sys, json; sys.stderr.write('\\n' + json.dumps(sorted(sys.modules)))"

    def loaded(text: str) -> set[str]:
        done = subprocess.run([sys.executable, "-c", text + report], cwd=ROOT, capture_output=True, text=True,
                              timeout=60, check=True)
        return set(json.loads(done.stderr.splitlines()[-1]))

    return loaded(program) - loaded("")


@pytest.mark.parametrize("argv", [["--help"], ["--version"], ["no-such-command"]], ids=lambda argv: argv[0])
def test_a_start_imports_only_the_allowed_set(argv: list[str]) -> None:
    program = ("import assistant.__main__, assistant.bootstrap.launch\nfrom assistant.cli import main\n"
               f"main({argv!r})")
    loaded = modules_after(program)
    ours = {name for name in loaded if name.split(".")[0] == "assistant"}
    others = {name.split(".")[0] for name in loaded} - {"assistant"} - set(sys.stdlib_module_names)
    assert "assistant.cli" in ours and "click" in others, "nothing was looked at"
    assert ours <= ALLOWED_OF_OURS
    assert others <= ALLOWED_PACKAGES
    assert not {name.split(".")[0] for name in loaded} & NEVER_AT_START


@pytest.mark.parametrize("name", COMMANDS)
def test_each_command_of_the_table_is_there_and_has_its_one_line(name: str) -> None:
    place, help_line = COMMANDS[name]
    module, _, attribute = place.partition(":")
    command = getattr(importlib.import_module(module), attribute)
    assert isinstance(command, click.Command)
    assert help_line.endswith(".") and len(help_line) < 80
    assert command.help, f"{name} has no help text"


def test_the_help_lists_every_command_with_its_line() -> None:
    text = group.get_help(click.Context(group))
    for name, (_, help_line) in COMMANDS.items():
        assert name in text and help_line.split()[0] in text


def lazy() -> LazyGroup:
    table = {"wet": ("no.such.module:command", "Wet a surface."), "wait": ("json:dumps", "Wait.")}
    return LazyGroup("assistant", lazy=table)


def test_listing_imports_no_command() -> None:
    assert "Wet a surface." in lazy().get_help(click.Context(lazy()))


def test_a_near_miss_is_answered_with_the_near_names() -> None:
    with pytest.raises(click.UsageError) as caught:
        lazy().main(["wett"], standalone_mode=False)
    assert caught.value.format_message().startswith("No such command 'wett'.")
    assert "Did you mean" in caught.value.format_message() and "wet" in caught.value.format_message()
