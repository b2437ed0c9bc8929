"""What is shown while a session runs: a live screen on a terminal, plain lines anywhere else."""

from __future__ import annotations

import os
import sys
from collections import deque
from typing import TextIO

from rich.console import Console, Group
from rich.live import Live
from rich.panel import Panel
from rich.progress_bar import ProgressBar
from rich.table import Table
from rich.text import Text

from assistant.procedure.plan import Plan
from assistant.session.facts import contacts, lines, machine, session, steps, troubles
from assistant.session.facts.base import Fact
from assistant.session.lookup import name_of, step_of
from assistant.session.state import RUNNING, State
from assistant.station.times import clock_text

# Facts worth a line of their own on a plain terminal: label and what to show.
_MARKS = {"instruction": "says", "answer": "says", "announcement": "says", "question": "asks", "warning": "warns",
          "refusal": "says", "notice": "says"}


def fact_line(plan: Plan, fact: Fact) -> str:
    """One plain line for a fact, or "" for one that needs none. The label comes first, never a colour alone."""
    if isinstance(fact, lines.LineSpoken):
        return f"{_MARKS[fact.role]:>9}: {fact.text}"
    if isinstance(fact, lines.Heard):
        what = fact.word.replace("_", " ") or fact.value or "nothing it knows"
        if fact.accepted:
            return f"{'heard':>9}: {what}  ({fact.confidence_pm / 10:.0f} %)"
        return f"{'refused':>9}: {what}  ({fact.reason})"
    if isinstance(fact, contacts.ContactStarted):
        left = clock_text(fact.complete_at_ms - fact.wet_since_ms)
        return f"{'timer':>9}: {name_of(plan, fact.surface)}, contact {left}"
    if isinstance(fact, contacts.ContactCompleted):
        return f"{'timer':>9}: {name_of(plan, fact.surface)}, contact time complete"
    if isinstance(fact, contacts.RewetConfirmed):
        return f"{'timer':>9}: {name_of(plan, fact.surface)}, wet again in time"
    if isinstance(fact, machine.CycleStarted):
        return f"{'timer':>9}: {name_of(plan, fact.cycle)}, {clock_text(fact.due_ms - fact.started_ms)}"
    if isinstance(fact, machine.CycleCompleted):
        return f"{'timer':>9}: {name_of(plan, fact.cycle)} finished"
    if isinstance(fact, troubles.Deviation):
        return f"{'deviation':>9}: {fact.text}"
    if isinstance(fact, troubles.RedoPlanned):
        return f"{'to redo':>9}: " + "; ".join(fact.reasons)
    if isinstance(fact, steps.CorrectionMade):
        return f"{'taken back':>9}: {fact.step}"
    if isinstance(fact, session.VerdictReached):
        return f"{'verdict':>9}: {fact.verdict}"
    return ""


class PlainScreen:
    """Lines as they happen, for pipes, logs and NO_COLOR."""

    def __init__(self, plan: Plan, out: TextIO) -> None:
        self.plan = plan
        self.out = out

    def __enter__(self) -> PlainScreen:
        return self

    def __exit__(self, *_: object) -> None:
        self.out.flush()

    def facts(self, state: State, facts: tuple[Fact, ...], now_ms: int) -> None:
        """Show what one decision brought."""
        for fact in facts:
            text = fact_line(self.plan, fact)
            if text:
                print(f"{clock_text(now_ms)} {printable(text)}", file=self.out)

    def tick(self, state: State, now_ms: int) -> None:
        """Nothing moves on a plain terminal."""

    def notice(self, text: str) -> None:
        """Something to be known about the whole session, before it begins."""
        print(f"{'note':>15}: {printable(text)}", file=self.out)


class LiveScreen:
    """Step, what was said and heard, timers as bars, refusals and deviations; drawn a few times a second."""

    def __init__(self, plan: Plan, console: Console, title: str) -> None:
        self.plan = plan
        self.title = title
        self._said: deque[tuple[int, str]] = deque(maxlen=9)
        self._trouble: deque[tuple[int, str]] = deque(maxlen=4)
        self._now_ms = 0
        self._state: State | None = None
        self._live = Live(console=console, auto_refresh=True, refresh_per_second=6, get_renderable=self._draw)

    def __enter__(self) -> LiveScreen:
        self._live.__enter__()
        return self

    def __exit__(self, *problem: object) -> None:
        self._live.__exit__(*problem)

    def facts(self, state: State, facts: tuple[Fact, ...], now_ms: int) -> None:
        """Show what one decision brought."""
        self._state, self._now_ms = state, now_ms
        for fact in facts:
            text = fact_line(self.plan, fact)
            if isinstance(fact, troubles.Deviation) or (isinstance(fact, lines.Heard) and not fact.accepted):
                self._trouble.append((now_ms, text))
            elif isinstance(fact, lines.LineSpoken | lines.Heard):
                self._said.append((now_ms, text))

    def tick(self, state: State, now_ms: int) -> None:
        """Move the bars."""
        self._state, self._now_ms = state, now_ms

    def notice(self, text: str) -> None:
        """Something to be known about the whole session: stands above it all the time."""
        self.title = f"{self.title}\n{text}"

    def _draw(self) -> Group:
        state = self._state
        if state is None:
            return Group(Text(self.title))
        step = step_of(self.plan, state)
        done = sum(1 for s in self.plan.steps if s.id in state.main.done)
        head = Text.assemble(
            (self.title, "bold"), f"   {clock_text(self._now_ms)}   {done} of {len(self.plan.steps)} steps   ",
            (state.mode.replace("_", " "), "reverse"),
        )
        parts: list[object] = [head, Panel(Text(printable(step.say) if step else "..."), title="step", title_align="left")]
        timers = self._timers(state)
        if timers.row_count:
            parts.append(timers)
        parts.append(Text("\n".join(f"{clock_text(t)} {printable(x)}" for t, x in self._said)))
        if self._trouble:
            rows = "\n".join(f"{clock_text(t)} {printable(x)}" for t, x in self._trouble)
            parts.append(Panel(Text(rows), title="refused and deviations", title_align="left"))
        return Group(*parts)

    def _timers(self, state: State) -> Table:
        table = Table.grid(padding=(0, 2))
        now = self._now_ms
        for c in sorted(state.contacts.values(), key=lambda c: c.complete_at_ms):
            note = "wet again now!" if c.surface in state.rewets else f"dry in {clock_text(c.dries_at_ms - now)}"
            table.add_row(
                name_of(self.plan, c.surface), _bar(c.wet_since_ms, c.complete_at_ms, now),
                f"{clock_text(c.complete_at_ms - now)} left", note,
            )
        for r in state.cycles.values():
            if r.status == RUNNING:
                table.add_row(
                    name_of(self.plan, r.cycle), _bar(r.started_ms, r.due_ms, now),
                    f"{clock_text(r.due_ms - now)} left", "",
                )
        return table


def _bar(start_ms: int, end_ms: int, now_ms: int) -> ProgressBar:
    total = max(1, end_ms - start_ms)
    return ProgressBar(total=total, completed=min(total, max(0, now_ms - start_ms)), width=30)


def printable(text: str) -> str:
    """Without anything a terminal would act on: a spoken name must not move the cursor."""
    return "".join(ch if ch.isprintable() or ch == "\n" else "\N{REPLACEMENT CHARACTER}" for ch in text)


def open_screen(plan: Plan, title: str, *, out: TextIO | None = None, plain: bool = False) -> PlainScreen | LiveScreen:
    """Live on a terminal; plain lines where output is piped, NO_COLOR is set or `plain` asked for."""
    out = out or sys.stdout
    if plain or not out.isatty() or os.environ.get("NO_COLOR"):
        return PlainScreen(plan, out)
    return LiveScreen(plan, Console(file=out), title)
