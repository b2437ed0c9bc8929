"""Small things that could be broken unseen: each of these was a planted fault that no test noticed."""

from __future__ import annotations

from dataclasses import replace

import pytest

from assistant.language import vocabulary as w
from assistant.language.sentences import LANGUAGES
from assistant.procedure.model import plan as p
from assistant.session import decide, initial, inputs
from assistant.session.facts import contacts, lines, session, steps, troubles
from assistant.session.facts.base import Fact
from assistant.session.words.allowed import expects
from tests.session.small_plan import GO, small_plan
from tests.session.walk import Walk


def _said(facts: list[Fact]) -> list[str]:
    return [f.text for f in facts if isinstance(f, lines.LineSpoken)]


@pytest.mark.parametrize("given", [
    inputs.Word(w.CONFIRM), inputs.Word(w.STOP), inputs.Value("1"), inputs.Tick(), inputs.Misheard("noise"), inputs.SignIn("Cy"),
    inputs.Witness("Ben", "I saw it."), inputs.Lost("microphone"),
])
def test_before_the_session_begins_nothing_but_the_beginning_counts(given: inputs.Input) -> None:
    plan = small_plan()
    assert decide(plan, initial(plan), given, 1_000) == ()


def test_in_a_fire_everything_is_said_at_once_who_must_be_told_included() -> None:
    plan = small_plan()
    fire = replace(plan.mishaps["fire"], tell="Tell the fire warden what is inside.")
    walk = Walk(replace(plan, mishaps={**plan.mishaps, "fire": fire})).go("wet-left")
    said = _said(walk.say("fire", after=1_000))
    assert said.index("Leave by the nearest exit.") < said.index("Tell the fire warden what is inside.")
    assert walk.state.verdict == "left"


def test_a_claim_that_is_denied_at_its_read_back_is_said_not_to_be_taken() -> None:
    walk = Walk(small_plan()).go("open-inner")
    walk.yes()
    assert walk.mode == "read_back"
    facts = walk.say(w.NO, after=2_000)
    assert [f.step for f in facts if isinstance(f, steps.ClaimDropped)] == ["open-inner"]
    assert _said(facts) and walk.state.openings.get("inner", "closed") == "closed"


def _with_expiry(then: str) -> p.Plan:
    """The small plan with a date to be noted first, that must not have passed."""
    plan = small_plan(today="2026-12-01")
    expiry = p.Step("expiry", p.NOTE, "Read the expiry date.", value_kind="date", not_before_today=True, on_outside=then, reach="")
    spare = p.Mishap("spare", "", "spare pack", (p.Step("spare-open", p.INSTRUCT, "Open the spare pack."),))
    return replace(plan, steps=(expiry, *plan.steps), mishaps={**plan.mishaps, "spare": spare})


@pytest.mark.parametrize(("then", "verdict", "branch"), [("stop", "stopping", ""), ("mishap:spare", "", "spare"), ("again", "", "")])
def test_a_date_that_has_passed_leads_where_the_file_says(then: str, verdict: str, branch: str) -> None:
    walk = Walk(_with_expiry(then)).go("expiry")
    walk.value("2020-01-31")
    walk.yes()
    assert [f.step for f in walk.of(steps.ValueDropped)] == ["expiry"]
    assert walk.state.top.branch == branch
    assert (walk.mode == "stopping" or walk.state.verdict == "stopped") is (verdict == "stopping")


def test_a_cycle_that_still_runs_is_waited_for_before_the_end() -> None:
    plan = small_plan()
    run_up = p.Cycle("run_up", "run-up", 300_000)
    last = p.Step("run-up", p.CYCLE, "Start the run-up.", cycle="run_up", reach="")
    walk = Walk(replace(plan, cycles={**plan.cycles, "run_up": run_up}, steps=(*plan.steps, last))).go("run-up")
    walk.yes()
    assert not walk.state.verdict and walk.mode == "wait"
    walk.at(walk.now + 299_000)
    assert not walk.state.verdict
    walk.at(walk.now + 10_000)
    assert walk.state.verdict == "complete"


def test_a_wait_with_nothing_left_to_wait_for_passes_without_a_word() -> None:
    plan = small_plan()
    quick = tuple(replace(s, contact_ms=1_000) if s.kind == p.WET else s for s in plan.steps)
    at = [s.id for s in quick].index("wait")
    between = p.Step("between", p.INSTRUCT, "Look around.", reach=GO)
    walk = Walk(replace(plan, steps=(*quick[:at], between, *quick[at:]))).go("look", gap=8_000)
    started = next(f for f in walk.of(steps.StepStarted) if f.step == "wait")
    assert not [f for f in walk.of(lines.LineSpoken) if f.at_ms == started.at_ms and f.about == "wait"]


def test_a_step_that_needs_a_finished_surface_waits_for_it_or_has_it_wetted() -> None:
    plan = small_plan()
    needs = p.Step("needs", p.INSTRUCT, "Lean the frame on the back wall.", reach=GO, requires=(p.Cond("contact", "back", "complete"),))
    at = [s.id for s in plan.steps].index("wet-left")
    walk = Walk(replace(plan, steps=(*plan.steps[:at], needs, *plan.steps[at:]))).go("bridge:wait:back")
    assert walk.mode == "wait" and walk.state.contacts
    walk = Walk(replace(plan, steps=(*plan.steps[:at], needs, *plan.steps[at:]))).go("wet-back")
    walk.say(w.SKIP, after=1_000)
    walk.yes()
    assert walk.step == "wet-back" and walk.mode == "step", "what was skipped is wetted after all, not waited for"


def test_after_the_end_nothing_more_is_recalled() -> None:
    walk = Walk(small_plan(), watch=False)
    walk.state = replace(walk.state, kind="practice")
    recalled = inputs.Recalled("wet-left", ("wet-left", "wet-back"), 1, 1)
    assert len(walk.give(recalled)) == 1
    walk.finish()
    before = len(walk.facts)
    walk.give(recalled)
    assert len(walk.facts) == before and isinstance(walk.facts[0], session.SessionBegun)


def test_a_rewet_laid_aside_for_a_mishap_of_the_work_is_asked_for_anew_in_its_branch() -> None:
    plan = small_plan()
    dropped = p.Mishap("dropped", "dropped_item", "dropped item", (p.Step("dropped-lift", p.INSTRUCT, "Lift it.", reach=GO),))
    walk = Walk(replace(plan, mishaps={**plan.mishaps, "dropped": dropped})).go("wet-left")
    walk.after(26_000)
    assert walk.mode == "rewet" and len(walk.of(contacts.RewetAsked)) == 1
    walk.say("dropped_item", after=500)
    walk.after(200)
    assert [f.surface for f in walk.of(contacts.RewetAsked)] == ["back", "back"] and walk.mode == "rewet"


def test_a_number_is_expected_only_where_surfaces_are_offered_by_number() -> None:
    walk = Walk(small_plan()).go("wet-left")
    assert expects(walk.plan, walk.state) is None
    walk.yes()
    walk.say("dry_surface", after=1_000)
    assert walk.mode == "which" and expects(walk.plan, walk.state) == "number"
    walk = Walk(small_plan()).go("wet-left")
    walk.say("power_cut", after=1_000)
    assert walk.mode == "which" and not walk.state.which and expects(walk.plan, walk.state) is None


def test_at_the_last_step_nothing_comes_next_and_that_is_said() -> None:
    walk = Walk(small_plan()).go("hands-out")
    assert _said(walk.say(w.WHATS_NEXT, after=500)) == [LANGUAGES["en"]["next_none"]]
    walk = Walk(small_plan()).go("close-inner")
    assert "Take your hands out." in _said(walk.say(w.WHATS_NEXT, after=500))[0]


def test_a_fire_without_steps_in_the_file_is_a_deviation_that_is_said() -> None:
    plan = small_plan()
    walk = Walk(replace(plan, mishaps={m: x for m, x in plan.mishaps.items() if m != "fire"})).go("wet-left")
    facts = walk.say("fire", after=500)
    assert [f.about for f in facts if isinstance(f, troubles.Deviation)] == ["fire"]
    assert walk.state.verdict == "left" and _said(facts)
