"""On the screen a value stands as a person writes it; the line that is spoken, and kept in the record, stays as it is.

How a reading and a lot are written: sign, digits, a space and the unit symbol (SI Brochure, 9th edition, 5.4.3, from
memory); a lot as it is printed on the pack.
"""

from __future__ import annotations

import io
from dataclasses import replace

import pytest
from rich.console import Console

from assistant.language import vocabulary as w
from assistant.session import inputs
from assistant.session.facts import lines, steps
from assistant.station.loop.screen import LiveScreen, PlainScreen
from tests.session.rich_plan import rich_plan
from tests.session.walk import Walk


def _plan():
    plan = rich_plan()
    return replace(plan, steps=tuple(replace(s, unit="Pa") if s.id == "gauge" else s for s in plan.steps))


def _shown(walk: Walk, begun: int = 0) -> str:
    out = io.StringIO()
    PlainScreen(walk.plan, out).facts(walk.state, tuple(walk.facts[begun:]), walk.now)
    return out.getvalue()


def _spoken(walk: Walk) -> list[str]:
    return [f.text for f in walk.of(lines.LineSpoken)]


@pytest.mark.parametrize(("step", "value", "spoken", "written"), [
    ("gauge", "-67", "-6 7 Pa", "-67 Pa"), ("gauge", "-41.5", "-4 1.5 Pa", "-41.5 Pa"), ("lot", "B756", "bravo 7 5 6", "B756"),
    ("lot", "AB-12", "alpha bravo dash 1 2", "AB-12"), ("expiry", "2027-03-01", "2027-03-01", "2027-03-01"),
])
def test_a_value_read_back_is_shown_written_and_spoken_sign_by_sign(step: str, value: str, spoken: str, written: str):
    walk = Walk(_plan()).go(step, mode="value")
    walk.value(value)
    walk.say(w.REPEAT, after=500)
    assert spoken in _spoken(walk)[-2] and spoken in _spoken(walk)[-1]
    shown = _shown(walk).splitlines()
    assert written in shown[-1]
    if spoken != written:
        assert spoken not in "\n".join(shown) and written not in _spoken(walk)[-1]


def test_a_deviation_names_the_value_as_it_is_written():
    walk = Walk(_plan()).go("gauge", mode="value")
    step = walk.plan.step("gauge")
    walk.value(str(int(step.low) - 12))
    walk.yes()
    told = " ".join(f"{int(step.low) - 12}"[1:])
    shown = _shown(walk)
    assert f"-{told} Pa" in " ".join(_spoken(walk)) and f"-{told} Pa" not in shown
    assert f"{int(step.low) - 12} Pa" in next(line for line in shown.splitlines() if "deviation:" in line)


def test_signs_said_one_by_one_are_shown_as_they_stand_and_words_of_the_step_stay():
    walk = Walk(_plan()).go("lot", mode="value")
    for _ in range(2):
        walk.after(3_000)
        walk.give(inputs.Misheard("odd", "", walk.now, walk.now, "voice"))
    for sign in "B7":
        walk.after(3_000)
        walk.give(inputs.Value(sign, walk.now, walk.now, "voice"))
    walk.say(w.WHERE, after=3_000, source="voice")
    shown = _shown(walk).splitlines()
    assert "So far bravo 7." in _spoken(walk)[-1] and shown[-1].endswith("So far B7.")
    begun = [line for line in shown if "Read the lot" in line]
    assert begun and shown[-1].count("Read the lot") == 1


def test_nothing_of_a_value_is_exchanged_at_the_step_after():
    walk = Walk(_plan()).go("lot", mode="value")
    walk.value("B"), walk.yes()
    after = next(f for f in walk.of(steps.StepStarted)[::-1])
    assert after.step != "lot"
    screen = PlainScreen(walk.plan, out := io.StringIO())
    screen.facts(walk.state, (*walk.facts, lines.LineSpoken(walk.now, 99, "notice", "Say bravo.")), walk.now)
    assert out.getvalue().splitlines()[-1].endswith("Say bravo.")


def test_the_live_screen_shows_the_same():
    walk = Walk(_plan()).go("gauge", mode="value")
    walk.value("-67")
    screen = LiveScreen(walk.plan, Console(file=io.StringIO(), width=120), "t")
    screen.facts(walk.state, tuple(walk.facts), walk.now)
    assert any("-67 Pa" in text for _, text in screen._said) and not any("-6 7" in text for _, text in screen._said)
