"""What is shown while a session runs: a live screen on a terminal, plain lines anywhere else."""

from __future__ import annotations

import os
import sys
from typing import TextIO

from rich.console import Console

from assistant.account.fact_lines import fact_line, printable
from assistant.account.times import clock_text
from assistant.account.written import Written
from assistant.procedure.model.plan import Plan
from assistant.session.facts.base import Fact
from assistant.session.state import State
from assistant.station.live.screen import LiveScreen

__all__ = ["LiveScreen", "PlainScreen", "fact_line", "open_screen", "printable"]


class PlainScreen:
    """Lines as they happen, for pipes, logs and NO_COLOR."""

    def __init__(self, plan: Plan, out: TextIO) -> None:
        self.plan = plan
        self.out = out
        self._written = Written(plan)

    def __enter__(self) -> PlainScreen:
        return self

    def __exit__(self, *_: object) -> None:
        self.out.flush()

    def facts(self, state: State, facts: tuple[Fact, ...], now_ms: int) -> None:
        """Show what one decision brought."""
        for fact in facts:
            text = self._written(fact, fact_line(self.plan, fact))
            if text:
                print(f"{clock_text(now_ms)} {printable(text)}", file=self.out)

    def tick(self, state: State, now_ms: int) -> None:
        """Nothing moves on a plain terminal."""

    def notice(self, text: str) -> None:
        """Something to be known about the whole session, before it begins."""
        print(f"{'note':>15}: {printable(text)}", file=self.out)


def open_screen(plan: Plan, title: str, *, out: TextIO | None = None, plain: bool = False) -> PlainScreen | LiveScreen:
    """Live on a terminal; plain lines where output is piped, NO_COLOR is set or `plain` asked for."""
    out = out or sys.stdout
    if plain or not out.isatty() or os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb":
        return PlainScreen(plan, out)
    return LiveScreen(plan, Console(file=out), title)
