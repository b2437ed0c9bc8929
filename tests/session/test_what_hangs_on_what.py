"""Small rules that nothing else would show to be gone: each of these was once broken on purpose and nobody noticed.

The rules are this project's own; a look rests on what it looks at (common practice, no source).
"""

from __future__ import annotations

import pytest

from assistant.language import vocabulary as w
from assistant.language.sentences import duration
from assistant.procedure.model import plan as p
from assistant.session import inputs
from assistant.session.facts import contacts, lines, machine, steps
from tests.session.small_plan import small_plan
from tests.session.walk import Walk
from tests.session.wall_plan import look, wall, walls

BACK_CLEAN = (p.Cond("contact", "back", "complete"),)
TOUCHED = {"touched": p.Mishap("touched", "touched", "touched", (), (p.Spoil(p.SPOIL_CHOSEN),))}


def _after_wall(step: p.Step) -> Walk:
    """One wall wet since 10 s, to be wetted again from 30 s, and `step` at hand."""
    walk = Walk(walls(wall("back", 60_000, 40_000, 10_000), step, look("end")))
    walk.say(w.CONFIRM, after=10_000)
    return walk


def _heard(walk: Walk) -> None:
    walk.value("AB12", after=1_000)


def _said(*words: str):
    def say(walk: Walk) -> None:
        for word in words:
            walk.say(word, after=4_000)
    return say


NOTE = p.Step("lot", p.NOTE, "Read the lot.", value_kind="lot", reach="")
RESTING = {
    "step": (look(), _said()),
    "value": (NOTE, _said()),
    "value_back": (NOTE, _heard),
    "read_back": (look(policy=p.READ_BACK), _said(w.CONFIRM)),
    "witness": (look(policy=p.WITNESSED), _said(w.CONFIRM)),
    "wait": (p.Step("wait", p.WAIT, "", wait_for=(p.ALL_CONTACTS,), reach=""), _said()),
    "paused": (look(), _said(w.PAUSE)),
}


@pytest.mark.parametrize("mode", RESTING)
def test_a_re_wet_is_asked_for_whatever_work_is_at_hand(mode: str):
    step, come_there = RESTING[mode]
    walk = _after_wall(step)
    come_there(walk)
    assert walk.at(29_999).mode == mode
    assert walk.at(30_000).mode == "rewet" and walk.state.under[-1] == mode
    assert [f.surface for f in walk.of(contacts.RewetAsked)] == ["back"]


@pytest.mark.parametrize("kind", [p.CHECK, p.READING, p.WITNESS, p.INSTRUCT])
def test_a_look_at_a_clean_surface_is_owed_when_the_surface_is_touched(kind: str):
    seen = p.Step("seen", kind, "Look at the back wall.", value_kind="number", reach="", requires=BACK_CLEAN)
    walk = Walk(walls(wall("back", 60_000, 90_000), seen, look("end"), mishaps=TOUCHED)).go("end")
    walk.say("touched", after=1_000)
    assert [f.step for f in walk.of(steps.StepOwed)] == ["wet-back", "seen"]
    assert walk.step == "wet-back"
    walk.go("seen").go("end")
    assert walk.finish() == "complete"


def test_a_look_that_rests_on_a_look_is_owed_with_it():
    seen = look("seen", requires=BACK_CLEAN)
    noted = look("noted", requires=(p.Cond("step", "seen", "done"),))
    walk = Walk(walls(wall("back", 60_000, 90_000), seen, noted, look("end"), mishaps=TOUCHED)).go("end")
    walk.say("touched", after=1_000)
    assert [f.step for f in walk.of(steps.StepOwed)] == ["wet-back", "seen", "noted"]


def test_what_needs_a_step_done_goes_on_once_that_was_skipped():
    walk = Walk(walls(look("first"), look("second", requires=(p.Cond("step", "first", "done"),))))
    walk.say(w.SKIP, after=1_000)
    walk.say(w.CONFIRM, after=1_000)
    assert walk.step == "second"  # and isn't led back to what was left out
    walk.yes()
    assert walk.state.verdict == "incomplete" and not [s for s in walk.of(steps.StepConfirmed) if s.step == "first"]


def test_before_a_door_is_shut_what_its_shutting_needs_is_asked_for():
    door = p.Opening("outer", "outer door", at_start="open", closes_when=(p.Cond("machine", "fan", "off"),))
    shut = p.Step("shut", p.CLOSE, "Close the outer door.", opening="outer", reach="")
    walk = Walk(walls(shut, openings={"outer": door}, start_machines={"fan": "on"}))
    assert walk.step == "bridge:machine:fan=off"
    walk.yes()
    assert walk.step == "shut" and walk.state.machines == {"fan": "off"}


def _waiting(voice: bool) -> Walk:
    """A wait of 60 s from 10 s on with a mark at 20 s left, at 50 s; where there is a voice, its lines are over."""
    wait = p.Step("wait", p.WAIT, "", wait_for=(p.ALL_CONTACTS,), reach="")
    walk = Walk(walls(wall("back", 60_000, 90_000), wait, countdown_ms=(20_000,)), voice=voice)
    _end_lines(walk)
    walk.at(10_000)
    walk.give(inputs.Word(w.CONFIRM))
    _end_lines(walk)
    return walk


def _end_lines(walk: Walk) -> None:
    for line in sorted(walk.state.open_lines):
        walk.give(inputs.LineDone(line, walk.now, walk.now))


@pytest.mark.parametrize("sounding", [False, True])
def test_a_countdown_is_said_in_a_pause_and_never_over_a_line(sounding: bool):
    walk = _waiting(voice=True)
    walk.at(49_999)
    if sounding:
        walk.give(inputs.Word(w.HOW_LONG))
        assert walk.state.open_lines
    begun = len(walk.facts)
    walk.at(50_000)
    said = [f for f in walk.facts[begun:] if isinstance(f, lines.LineSpoken)]
    assert [f.mark_ms for f in walk.facts[begun:] if isinstance(f, steps.TimeLeftSaid)] == [20_000]
    assert [f.role for f in said] == ([] if sounding else [lines.ANNOUNCEMENT])
    assert sounding or duration("en", 20_000) in said[0].text


def test_a_warning_of_a_limit_says_how_much_time_is_left():
    walk = Walk(small_plan()).go("wet-shelf")  # the outer door may be open for 300 s; it is told of 60 s before
    opened = walk.state.opened_ms["outer"]
    begun = len(walk.facts)
    walk.at(opened + 240_000)
    warned = walk.of(machine.LimitWarned)
    assert [(f.limit, f.at_ms) for f in warned] == [("opening:outer", opened + 240_000)]
    said = [f.text for f in walk.facts[begun:] if isinstance(f, lines.LineSpoken) and f.about == "opening:outer"]
    assert len(said) == 1 and "1 minute" in said[0] and "outer door" in said[0]


def test_after_one_re_wet_the_next_one_is_named():
    walk = Walk(walls(
        wall("back", 60_000, 40_000, 20_000), wall("left", 60_000, 40_000, 20_000), look(),
    ))
    walk.say(w.CONFIRM, after=2_000)
    walk.say(w.CONFIRM, after=2_000)
    walk.at(23_000)
    assert walk.state.rewets == ("back", "left")
    said = [f for f in walk.say(w.REWETTED, after=1_000) if isinstance(f, lines.LineSpoken)]
    assert [(f.role, f.about) for f in said] == [(lines.ANSWER, "back"), (lines.WARNING, "left")]
    assert "left wall" in said[-1].text and "back wall" not in said[-1].text
