"""What is shown: the same in a pipe as on a terminal, and nothing a terminal would act on."""

from __future__ import annotations

import io
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "session"))
from small_plan import small_plan  # noqa: E402

from rich.console import Console  # noqa: E402

from assistant.session import decide, evolve, initial, inputs  # noqa: E402
from assistant.session.facts.lines import LineSpoken  # noqa: E402
from assistant.station.screen import LiveScreen, PlainScreen, fact_line, open_screen, printable  # noqa: E402


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
    assert "heard: confirm" in text and "refused: resume" in text


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
    assert "airlock shelf" in shown and "left" in shown
    assert "refused" in shown
