"""A click group that imports a command's module only when the command is used, so that every start is quick.

`COMMANDS` in `assistant.cli` is the table: name -> ("package.module:attribute", "one line of help").
"""

from __future__ import annotations

import difflib
import importlib
from collections.abc import Mapping
from typing import Any

import click

from assistant.errors import UsageError


class LazyGroup(click.Group):
    """A group over a table of import paths; listing the commands imports none of them."""

    def __init__(self, *args: Any, lazy: Mapping[str, tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.lazy = dict(lazy)

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order of the table: that order is the order a newcomer meets them in."""
        return [*self.lazy, *super().list_commands(ctx)]

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        """The command, imported now; None for an unknown name."""
        if name not in self.lazy:
            return super().get_command(ctx, name)
        module_name, _, attribute = self.lazy[name][0].partition(":")
        try:
            module = importlib.import_module(module_name)
        except ModuleNotFoundError as error:
            if not module_name.startswith("tests.") or not str(error.name).startswith("tests"):
                raise
            raise UsageError(f"`assistant {name}` is not part of the installed package.",
                             try_next="run it in a clone of the project, where its benches are") from error
        command: click.Command = getattr(module, attribute)
        return command

    def resolve_command(self, ctx: click.Context, args: list[str]
                        ) -> tuple[str | None, click.Command | None, list[str]]:
        """As click does it, with the nearest names added to the complaint about an unknown one."""
        try:
            return super().resolve_command(ctx, args)
        except click.UsageError as error:
            near = difflib.get_close_matches(args[0], self.list_commands(ctx), n=2)
            if near and "Did you mean" not in error.message:
                raise click.UsageError(f"{error.message} Did you mean {' or '.join(near)}?", error.ctx) from error
            raise

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The list in `--help`, from the table's one-liners."""
        rows = [(name, help_line) for name, (_, help_line) in self.lazy.items()]
        for name in super().list_commands(ctx):
            command = super().get_command(ctx, name)
            if command is not None and not command.hidden:
                rows.append((name, command.get_short_help_str()))
        with formatter.section("Commands"):
            formatter.write_dl(rows)
