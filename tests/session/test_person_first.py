"""While a person, or what must stay inside, is seen to, nothing of the interrupted work is asked for or said.

Common practice, no source: whoever tore a glove isn't told to wet a window.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from assistant.procedure.model import plan as p
from assistant.session.facts import contacts, lines, machine, steps, troubles
from assistant.session.facts.base import Fact
from tests.session.small_plan import GO, small_plan
from tests.session.walk import Walk

URGENT = {"torn": "person", "alarm": "containment", "fire": "person", "power": "containment"}


def _plan(**changes: object) -> p.Plan:
    """The small plan with urgencies, with spoils that leave the back wall to dry by itself, and a work mishap."""
    plain = small_plan(**changes)
    mishaps = {m: replace(x, urgency=URGENT.get(m, "work"), spoils=()) for m, x in plain.mishaps.items()}
    mishaps["dropped"] = p.Mishap(
        "dropped", "dropped_item", "dropped item", (p.Step("dropped-lift", p.INSTRUCT, "Lift it into the bag."),)
    )
    mishaps["dry"] = replace(plain.mishaps["dry"], steps=(p.Step("dry-new", p.INSTRUCT, "Take a new wipe."),))
    return replace(plain, mishaps=mishaps)


def _at_back_wet() -> Walk:
    """The back wall has just been wetted: a re-wet is due in 25 s, it dries in 45 s, its contact ends in 60 s."""
    walk = Walk(_plan()).go("wet-left")
    assert "back" in walk.state.contacts
    return walk


def _said(facts: list[Fact]) -> list[str]:
    return [f.text for f in facts if isinstance(f, lines.LineSpoken)]


def _since(walk: Walk, kind: type[Fact]) -> list[Fact]:
    at = max(n for n, f in enumerate(walk.facts) if isinstance(f, kind))
    return walk.facts[at:]


@pytest.mark.parametrize("word", ["torn_glove", "pressure_alarm"])
def test_no_rewet_of_the_interrupted_work_is_asked_for_in_the_branch_and_its_steps_are_confirmed(word: str) -> None:
    walk = _at_back_wet()
    walk.say(word, after=2_000)
    walk.at(walk.now + 90_000)
    assert not walk.of(contacts.RewetAsked)
    while walk.state.top.branch:
        before = len(walk.of(lines.NotNow))
        walk.yes()
        assert len(walk.of(lines.NotNow)) == before, "the branch's own step is confirmed, not refused"
    entered = _since(walk, troubles.BranchEntered)
    left = next(n for n, f in enumerate(entered) if isinstance(f, troubles.BranchLeft))
    assert not any("wall" in text for text in _said(entered[:left])), "nothing of the interrupted work is spoken of"


def test_what_dried_meanwhile_is_recorded_at_its_moment_owed_and_said_once_after_the_person() -> None:
    walk = _at_back_wet()
    dries = walk.state.contacts["back"].dries_at_ms
    walk.say("torn_glove", after=2_000)
    walk.at(dries + 30_000)
    dried = walk.of(contacts.SurfaceDried)
    assert [f.surface for f in dried] == ["back"] and dried[0].due_ms == dries
    assert "wet-back" not in walk.state.main.done
    assert [d.code for d in walk.of(troubles.Deviation)][-1] == "dried_contact"
    assert not any("dried" in text for text in _said(_since(walk, troubles.BranchEntered)))
    while walk.state.top.branch:
        walk.yes()
    after = _said(_since(walk, troubles.BranchLeft))
    assert [text for text in after if "dried" in text] == ["Meanwhile dried: back wall. To be wetted again from the start."]
    assert after.index("Tell your supervisor.") < after.index("Meanwhile dried: back wall. To be wetted again from the start.")
    assert walk.state.held == ()
    assert walk.finish() == "complete"


def test_a_mishap_that_is_only_about_the_work_still_lets_rewets_be_asked_for() -> None:
    walk = _at_back_wet()
    walk.say("dropped_item", after=2_000)
    walk.at(walk.now + 30_000)
    assert [f.surface for f in walk.of(contacts.RewetAsked)] == ["back"]


def test_an_end_of_the_interrupted_work_is_announced_only_after_the_branch() -> None:
    plan = _plan()
    plan = replace(plan, steps=tuple(replace(s, wet_ms=90_000) if s.id == "wet-back" else s for s in plan.steps))
    walk = Walk(plan).go("wet-left")
    walk.say("torn_glove", after=2_000)
    walk.at(walk.now + 70_000)
    assert walk.of(contacts.ContactCompleted)[-1].surface == "back"
    assert not any("back wall" in text.lower() for text in _said(_since(walk, troubles.BranchEntered)))
    while walk.state.top.branch:
        walk.yes()
    assert any("back wall" in text.lower() for text in _said(_since(walk, troubles.BranchLeft)))


def test_the_branchs_own_wetting_is_asked_for_again_in_time() -> None:
    own = p.Step("spill-wet", p.WET, "Wet the spilled place.", surface="left", agent="alcohol", agent_name="alcohol",
                 contact_ms=60_000, wet_ms=45_000, lead_ms=20_000, reach=GO)
    plan = _plan()
    spill = p.Mishap("spill", "spill", "spill", (own,), urgency="containment")
    plan = replace(plan, mishaps={**plan.mishaps, "spill": spill})
    walk = Walk(plan).go("wet-left")
    walk.say("spill", after=2_000)
    walk.yes(after=4_000)
    walk.at(walk.now + 44_000)
    assert [f.surface for f in walk.of(contacts.RewetAsked)] == ["left"]


def test_a_less_urgent_mishap_named_meanwhile_is_noted_and_comes_afterwards() -> None:
    walk = _at_back_wet()
    walk.say("torn_glove", after=2_000)
    step = walk.step
    said = _said(walk.say("dropped_item", after=2_000))
    assert said[0] == "Dropped item is noted. First, Torn glove." and walk.step == step
    assert [f.mishap for f in walk.of(troubles.BranchEntered)] == ["torn"]
    while walk.state.top.branch == "torn":
        walk.yes()
    assert walk.state.top.branch == "dropped" and walk.state.noted == ()
    assert walk.finish() == "complete"


def test_a_less_urgent_mishap_that_needs_a_question_asks_it_only_afterwards() -> None:
    walk = _at_back_wet()
    walk.say("torn_glove", after=2_000)
    walk.say("dry_surface", after=2_000)
    assert walk.mode != "which" and not walk.of(troubles.WhichAsked)
    while walk.state.top.branch == "torn":
        walk.yes()
    assert walk.mode == "which" or walk.state.top.branch == "dry"


@pytest.mark.parametrize(("first", "second"), [("pressure_alarm", "torn_glove"), ("torn_glove", "fire"), ("torn_glove", "torn_glove")])
def test_what_is_as_urgent_or_more_speaks_at_once(first: str, second: str) -> None:
    walk = _at_back_wet()
    walk.say(first, after=2_000)
    walk.say(second, after=2_000)
    assert not walk.of(troubles.MishapNoted)
    assert walk.of(troubles.BranchEntered)[-1].mishap == next(m.id for m in _plan().mishaps.values() if m.word == second)


def test_an_open_door_is_a_hazard_of_its_own_and_speaks_in_the_branch() -> None:
    walk = Walk(_plan()).go("wet-shelf")
    assert walk.state.openings["outer"] == "open"
    walk.say("torn_glove", after=2_000)
    walk.at(walk.now + 300_000)
    assert walk.of(machine.LimitMissed)
    assert any("door" in text.lower() for text in _said(_since(walk, troubles.BranchEntered)))


def test_a_missed_time_limit_of_a_step_is_recorded_at_once_and_said_afterwards() -> None:
    plan = _plan()
    late = tuple(
        replace(s, after_step="wet-back", within_ms=30_000, warn_ms=10_000) if s.id == "wet-left" else s for s in plan.steps
    )
    walk = Walk(replace(plan, steps=late)).go("wet-left")
    walk.say("torn_glove", after=1_000)
    walk.at(walk.now + 60_000)
    assert [f.limit for f in walk.of(machine.LimitMissed)] == ["step:wet-left"]
    assert not any("left wall" in text for text in _said(_since(walk, troubles.BranchEntered)))
    while walk.state.top.branch:
        walk.yes()
    assert sum("left wall" in text for text in _said(_since(walk, troubles.BranchLeft))) >= 1
    assert [f.about for f in walk.of(troubles.HeldSaid)]


def test_a_rewet_that_was_being_asked_for_is_laid_aside_and_asked_for_again_if_it_is_still_wet() -> None:
    walk = _at_back_wet()
    walk.at(walk.now + 26_000)
    assert walk.mode == "rewet"
    walk.say("torn_glove", after=500)
    assert walk.mode == "step"
    for _ in range(2):
        walk.yes(after=3_000)
    assert not walk.state.top.branch
    walk.at(walk.now + 100)
    # Hands are out: the surface is asked for once it can be reached, else it dries and is owed.
    assert walk.finish() == "complete"
    assert walk.of(steps.StepOwed) or len(walk.of(contacts.RewetAsked)) > 1
