"""What is shown: the same in a pipe as on a terminal, and nothing a terminal would act on."""

from __future__ import annotations

import io
import sys
from collections import deque
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "session"))
import pytest
from rich.console import Console
from small_plan import small_plan

from assistant.session import decide, evolve, initial, inputs
from assistant.session.facts.lines import LineSpoken
from assistant.station.loop.screen import LiveScreen, PlainScreen, fact_line, open_screen, printable
from tests.bench.station.policy import Policy


def test_a_pipe_gets_plain_lines_and_no_escape_sequences() -> None:
    plan, out = small_plan(), io.StringIO()
    with open_screen(plan, "t", out=out) as screen:
        state = initial(plan)
        for at, given in ((0, inputs.Begin("Ada")), (5_000, inputs.Word("confirm")), (9_000, inputs.Word("resume"))):
            facts = decide(plan, state, given, at)
            for fact in facts:
                state = evolve(state, fact)
            screen.facts(state, facts, at)
    text = out.getvalue()
    assert isinstance(screen, PlainScreen)
    assert "\x1b" not in text
    assert "heard: affirmative" in text and "refused: resume" in text


def test_a_hostile_spoken_name_moves_no_cursor() -> None:
    line = fact_line(small_plan(), LineSpoken(0, 1, "notice", "hello \x1b[2J\u202eolleh\x07"))
    assert not any(char in printable(line) for char in "\x1b\u202e\x07")


def test_the_live_screen_shows_step_timers_and_refusals_without_colour() -> None:
    plan = small_plan()
    out = io.StringIO()
    screen = LiveScreen(plan, Console(file=out, width=100, no_color=True, force_terminal=False), "Demo")
    state = initial(plan)
    for at, given in ((0, inputs.Begin("Ada")), (5_000, inputs.Word("confirm")), (20_000, inputs.Word("confirm")),
                      (21_000, inputs.Word("resume"))):
        facts = decide(plan, state, given, at)
        for fact in facts:
            state = evolve(state, fact)
        screen.facts(state, facts, at)
    console = Console(file=out, width=100, no_color=True)
    console.print(screen._draw())
    shown = out.getvalue()
    assert "Close the outer door" in shown
    assert "airlock shelf" in shown and "stays wet long enough" in shown
    assert "refused" in shown


def test_the_live_screen_shows_what_is_to_be_known_before_the_session() -> None:
    plan, out = small_plan(), io.StringIO()
    screen = LiveScreen(plan, Console(file=out, width=100, no_color=True, force_terminal=False), "Demo")
    screen.notice("this language is experimental")
    screen.tick(initial(plan), 0)
    Console(file=out, width=100, no_color=True).print(screen._draw())
    assert "this language is experimental" in out.getvalue()


@pytest.mark.parametrize(("width", "height"), [(80, 24), (110, 40), (60, 30), (200, 60)])
def test_nothing_jumps_while_a_session_runs(width: int, height: int) -> None:
    plan = small_plan()
    console = Console(file=io.StringIO(), width=width, height=height, no_color=True, force_terminal=True)
    screen, state, policy = LiveScreen(plan, console, "Demo: a long title " * 6), initial(plan), Policy("screen")
    given, at, heights = inputs.Begin("Ada", voice=True), 0, set()
    for _ in range(150):
        facts = decide(plan, state, given, at)
        for fact in facts:
            state = evolve(state, fact)
        screen.facts(state, facts, at)
        rows = console.render_lines(screen._draw(), console.options)
        heights.add(len(rows))
        assert all(sum(part.cell_length for part in row) <= width for row in rows)
        if state.verdict:
            break
        at, given = policy.next(plan, state)
    assert len(heights) == 1 and heights.pop() <= height - 1


def test_words_of_two_cells_a_letter_stay_inside_the_frame() -> None:
    console = Console(file=io.StringIO(), width=60, height=30, force_terminal=True)
    screen = LiveScreen(small_plan(), console, "Demo")
    text = screen._log(deque([(0, "     says: " + "\ud655\uc778 " * 40)]), 5)
    assert all(line.cell_len <= 56 for line in text.split("\n"))


@pytest.mark.parametrize("name", ["NO_COLOR", "TERM"])
def test_no_colour_or_a_dumb_terminal_gets_plain_lines(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setenv("TERM", "xterm")
    assert isinstance(open_screen(small_plan(), "t", out=Terminal()), LiveScreen)
    monkeypatch.setenv(name, "dumb")
    assert isinstance(open_screen(small_plan(), "t", out=Terminal()), PlainScreen)
