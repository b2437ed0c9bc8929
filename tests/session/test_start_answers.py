"""Answers given at the start: read back where they drop a safeguard, corrected until and after something hangs on them."""

from __future__ import annotations

from dataclasses import replace

from assistant.language import vocabulary as w
from assistant.procedure.model import plan as p
from assistant.session import inputs
from assistant.session.facts import lines, session, steps, troubles
from assistant.session.facts.base import Fact
from tests.session.small_plan import GO, small_plan
from tests.session.walk import Walk

CLAIM = "the drug is not hazardous"


def _plan() -> p.Plan:
    """With a hazardous drug both walls are decontaminated before they are wiped with alcohol; "no" drops that."""
    plan = small_plan()
    wet = {"kind": p.WET, "agent": "decon", "agent_name": "decontaminant", "contact_ms": 30_000, "wet_ms": 300_000}
    extra = tuple(
        p.Step(f"decon-{s}", say=f"Decontaminate the {s} wall.", surface=s, when=(p.When("hazardous", True),), reach=GO, **wet)
        for s in ("back", "left")
    )
    at = next(i for i, s in enumerate(plan.steps) if s.id == "wet-back")
    return replace(
        plan, steps=(*plan.steps[:at], *extra, *plan.steps[at:]),
        options=(p.Option("hazardous", "Is the drug hazardous?", True, False, CLAIM), p.Option("tray", "Is a tray lifted?")),
    )


def _said(facts: list[Fact]) -> list[str]:
    return [f.text for f in facts if isinstance(f, lines.LineSpoken)]


def _begun(hazardous: bool) -> Walk:
    walk = Walk(_plan())
    walk.say(w.CONFIRM if hazardous else w.NO, after=1_000)
    if not hazardous:
        walk.say(w.CONFIRM, after=1_000)
    walk.say(w.NO, after=1_000)
    return walk


def test_an_answer_that_drops_a_safeguard_counts_only_when_it_was_read_back() -> None:
    walk = Walk(_plan())
    said = _said(walk.say(w.NO, after=1_000))
    assert said == [f"I understood: {CLAIM}. Say affirmative again, or negative."]
    assert "hazardous" not in walk.state.options and walk.of(session.OptionReadBack)[0].value is False
    walk.say(w.CONFIRM, after=1_000)
    assert walk.state.options == {"hazardous": False} and walk.state.value == "tray"


def test_a_read_back_that_is_denied_asks_the_question_again() -> None:
    for word in (w.NO, w.CORRECTION):
        walk = Walk(_plan())
        walk.say(w.NO, after=1_000)
        said = _said(walk.say(word, after=1_000))
        assert said[-1].startswith("Is the drug hazardous?") and not walk.state.options


def test_the_answer_that_keeps_the_safeguard_is_taken_at_once() -> None:
    walk = Walk(_plan())
    walk.say(w.CONFIRM, after=1_000)
    assert walk.state.options == {"hazardous": True} and not walk.of(session.OptionReadBack)


def test_an_answer_set_before_the_start_that_drops_a_safeguard_is_said() -> None:
    walk = Walk(_plan(), options=(("hazardous", False), ("tray", False)))
    assert f"Set before the start: {CLAIM}." in _said(walk.facts)


def test_at_the_questions_the_last_answer_can_be_taken_back() -> None:
    walk = Walk(_plan())
    walk.say(w.CONFIRM, after=1_000)
    walk.say(w.CORRECTION, after=1_000)
    assert walk.mode == "option" and walk.state.value == "hazardous" and not walk.state.options
    taken = walk.of(session.OptionTakenBack)[0]
    assert (taken.option, taken.value) == ("hazardous", True)


def test_before_anything_is_confirmed_the_correction_word_takes_an_answer_back() -> None:
    walk = _begun(True)
    assert walk.mode == "step"
    walk.say(w.CORRECTION, after=1_000)
    assert walk.mode == "option" and walk.state.value == "tray"
    walk.say(w.CORRECTION, after=1_000)
    assert walk.mode == "option" and walk.state.value == "hazardous"


def test_later_it_is_asked_which_answer_was_wrong() -> None:
    walk = _begun(False).go("wet-shelf")
    said = _said(walk.say(w.TROUBLE, after=1_000))
    assert "For an answer given at the start, say correction." in said[0]
    said = _said(walk.say(w.CORRECTION, after=1_000))
    assert said == ["Which one? 1: Is a tray lifted. 2: Is the drug hazardous. Say the number, or cancel that."]
    walk.value("2", 1_000)
    assert walk.mode == "option" and walk.state.value == "hazardous"
    walk.say(w.CONFIRM, after=1_000)
    assert walk.step == "wet-shelf" and walk.finish() == "complete"
    assert {"decon-back", "decon-left"} <= walk.state.main.done


def test_what_was_done_without_the_safeguard_is_owed_and_named() -> None:
    walk = _begun(False).go("look")
    assert {"wet-back", "wet-left", "wait"} <= walk.state.main.done
    walk.say(w.TROUBLE, after=1_000)
    walk.say(w.CORRECTION, after=1_000)
    walk.value("2", 1_000)
    said = _said(walk.say(w.CONFIRM, after=1_000))
    assert "To be done again: back wall and left wall." in said
    assert walk.step == "decon-back"
    assert {f.step for f in walk.of(steps.StepOwed)} >= {"wet-back", "wet-left", "wait"}
    assert walk.of(troubles.RedoPlanned)
    assert walk.finish() == "complete"
    wetted = [f.step for f in walk.of(steps.StepConfirmed) if f.step.startswith(("decon", "wet-"))]
    assert wetted[-4:] == ["decon-back", "decon-left", "wet-back", "wet-left"]


def test_an_answer_that_calls_for_less_owes_nothing() -> None:
    walk = _begun(True).go("look")
    walk.say(w.TROUBLE, after=1_000)
    walk.say(w.CORRECTION, after=1_000)
    walk.value("2", 1_000)
    walk.say(w.NO, after=1_000)
    walk.say(w.CONFIRM, after=1_000)
    assert walk.step == "look" and not walk.of(steps.StepOwed)
    assert walk.finish() == "complete"


def test_while_a_mishap_is_open_no_start_answer_is_asked_about() -> None:
    walk = _begun(True).go("wet-back")
    walk.say("torn_glove", after=1_000)
    walk.say(w.TROUBLE, after=1_000)
    assert w.CORRECTION not in {x for f in walk.say(w.CORRECTION, after=1_000) if isinstance(f, lines.Heard) and f.accepted
                                for x in (f.word,)}
    assert walk.give(inputs.Word(w.CANCEL))
