"""The live screen: step, words, timers as bars, what was said and heard, refusals and deviations.

Every part has a height of its own that follows from the terminal's, so that nothing jumps while a session runs.
Colour only repeats what a word says already.
"""

from __future__ import annotations

from collections import deque

from rich.console import Console, Group, RenderableType
from rich.live import Live
from rich.panel import Panel
from rich.progress_bar import ProgressBar
from rich.table import Table
from rich.text import Text

from assistant.account.fact_lines import fact_line, printable
from assistant.account.times import clock_text
from assistant.account.written import Written
from assistant.procedure.model.plan import Plan
from assistant.session.facts import lines, troubles
from assistant.session.facts.base import Fact
from assistant.session.state import State
from assistant.session.view import CONTACT, LIMIT, PATCH, WAITING, WETTING, TimerView, View, view
from assistant.session.words.allowed import ANYWHERE, AT_WORK

_STEP_ROWS = 3
_FRAMES = 2 + 2 + (_STEP_ROWS + 2) + 3 * 2  # head, words, the step's panel, the frames of three more
_MOST_TIMERS, _MOST_TROUBLES, _MOST_SAID = 7, 4, 12
_NAME, _BAR = 26, 24
_EXPECTED = {"number sign": "one digit", "lot sign": "one letter or digit"}
_ALWAYS = ("repeat", "how_long", "where", "correction", "trouble", "stop")
_STYLES = {"refused": "yellow", "deviation": "bold red", "warns": "bold yellow", "asks": "cyan", "heard": "green"}


class LiveScreen:
    """Drawn a few times a second. `facts` and `tick` only note; drawing happens in the display's own thread."""

    def __init__(self, plan: Plan, console: Console, title: str) -> None:
        self.plan = plan
        self.title = title
        self.console = console
        self._said: deque[tuple[int, str]] = deque(maxlen=_MOST_SAID)
        self._written = Written(plan)
        self._trouble: deque[tuple[int, str]] = deque(maxlen=_MOST_TROUBLES)
        self._troubles = 0
        self._now_ms = 0
        self._state: State | None = None
        self._live = Live(
            console=console, auto_refresh=True, refresh_per_second=6, get_renderable=self._draw, vertical_overflow="crop",
        )

    def __enter__(self) -> LiveScreen:
        self._live.__enter__()
        return self

    def __exit__(self, *_: object) -> None:
        self._live.stop()

    def facts(self, state: State, facts: tuple[Fact, ...], now_ms: int) -> None:
        """Show what one decision brought."""
        self._state, self._now_ms = state, now_ms
        for fact in facts:
            text = self._written(fact, fact_line(self.plan, fact))
            if isinstance(fact, troubles.Deviation) or (isinstance(fact, lines.Heard) and not fact.accepted):
                self._trouble.append((now_ms, text))
                self._troubles += 1
            elif isinstance(fact, lines.LineSpoken | lines.Heard):
                self._said.append((now_ms, text))

    def notice(self, text: str) -> None:
        """Something to be known about the whole session, before it begins."""
        self._said.append((0, f"note: {text}"))

    def tick(self, state: State, now_ms: int) -> None:
        """Move the bars."""
        self._state, self._now_ms = state, now_ms

    def rows(self) -> tuple[int, int, int]:
        """Rows for timers, for what was said, and for refusals, in a terminal of this height."""
        left = max(6, self.console.size.height - 1 - _FRAMES)
        timers = min(_MOST_TIMERS, max(2, left // 2))
        refusals = min(_MOST_TROUBLES, max(1, left // 6))
        return timers, min(_MOST_SAID, left - timers - refusals), refusals

    def _draw(self) -> RenderableType:
        state = self._state
        if state is None:
            return Text(self.title, style="bold")
        seen = view(self.plan, state)
        timers, said, refusals = self.rows()
        more = f", {self._troubles - refusals} earlier" if self._troubles > refusals else ""
        return Group(
            self._head(seen),
            Panel(Text(printable(seen.text or seen.line)), title=_step_title(seen), title_align="left",
                  height=_STEP_ROWS + 2),
            self._words(seen),
            Panel(self._timers(seen, timers), title="Timers", title_align="left", height=timers + 2),
            Panel(self._log(self._said, said), title="Said and heard", title_align="left", height=said + 2),
            Panel(self._log(self._trouble, refusals), title=f"Refused, and deviations{more}", title_align="left",
                  height=refusals + 2),
        )

    def _head(self, seen: View) -> Table:
        table = Table.grid(expand=True)
        table.add_column(ratio=1, no_wrap=True, overflow="ellipsis")
        table.add_column(justify="right", no_wrap=True)
        table.add_row(Text(printable(self.title), style="bold"), Text(clock_text(self._now_ms), style="bold"))
        lost = f"   without: {', '.join(seen.lost)}" if seen.lost else ""
        table.add_row(
            Text(f"{seen.mode_text}   hands: {seen.hands_text}{lost}"),
            Text(f"{seen.done} of {seen.total} steps   {seen.deviations} deviations"),
        )
        return table

    def _words(self, seen: View) -> Table:
        """What answers the step, in one line; what always counts, in another."""
        own = [v.said for v in seen.words if v.word not in ANYWHERE | AT_WORK]
        if seen.expects:
            own.insert(0, _EXPECTED.get(seen.expects, f"a {seen.expects}"))
        table = Table.grid(padding=(0, 1))
        table.add_column(justify="right", width=9, style="dim")
        table.add_column(no_wrap=True, overflow="ellipsis")
        table.add_row("say", Text(", ".join(own) or "nothing is waited for", style="bold"))
        known = {v.word: v.said for v in seen.words}
        always = [known[word] for word in _ALWAYS if word in known]
        table.add_row("always", Text(", ".join(always), style="dim"))
        return table

    def _timers(self, seen: View, rows: int) -> RenderableType:
        running = [t for t in seen.timers if t.kind != WAITING or len(seen.timers) == 1]
        if not running:
            return Text("nothing is running", style="dim")
        table = Table.grid(padding=(0, 2))
        for width in (_NAME, _BAR, 8, None):
            table.add_column(width=width, justify="right" if width == 8 else "left", no_wrap=True, overflow="ellipsis")
        shown = running if len(running) <= rows else running[: rows - 1]
        for timer in shown:
            table.add_row(*self._row(timer))
        if len(shown) < len(running):
            table.add_row(Text(f"and {len(running) - len(shown)} more", style="dim"), "", "", "")
        return table

    def _row(self, timer: TimerView) -> tuple[RenderableType, ...]:
        now, name = self._now_ms, Text(printable(timer.name))
        if timer.kind == PATCH:
            return name, "", clock_text(now - timer.started_ms), Text("drying, counted up")
        total = max(1, timer.due_ms - timer.started_ms)
        bar = ProgressBar(total=total, completed=min(total, max(0, now - timer.started_ms)), width=_BAR)
        return name, bar, clock_text(timer.due_ms - now), self._note(timer)

    def _note(self, timer: TimerView) -> Text:
        if timer.kind == CONTACT and timer.rewet_asked:
            return Text(f"wet again now, dry in {clock_text(timer.dries_ms - self._now_ms)}", style="bold yellow")
        if timer.kind == CONTACT and timer.dries_ms > timer.due_ms:
            return Text("stays wet long enough", style="dim")
        if timer.kind == CONTACT:
            return Text(f"dry in {clock_text(timer.dries_ms - self._now_ms)}")
        return Text({WETTING: "until the first part dries", LIMIT: "time allowed"}.get(timer.kind, ""), style="dim")

    def _log(self, entries: deque[tuple[int, str]], rows: int) -> Text:
        """The newest entries, each wrapped under its own text, cut to the newest `rows` rows."""
        width = max(20, self.console.size.width - 4)
        found: list[Text] = []
        for at_ms, entry in entries:
            label, _, rest = entry.partition(": ")
            head = f"{clock_text(at_ms):>7} {label.strip():>10}  "
            parts = Text(printable(rest)).wrap(self.console, width - len(head))
            for number, part in enumerate(parts):
                part.rstrip()
                lead = head if number == 0 else " " * len(head)
                found.append(Text.assemble((lead, _STYLES.get(label.strip(), "dim")), part))
        return Text("\n").join(found[-rows:])


def _step_title(seen: View) -> str:
    return f"Mishap: {printable(seen.branch)}" if seen.branch else "Step"
