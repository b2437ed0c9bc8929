"""While a person or the containment is in danger nothing of the interrupted work is asked for; afterwards it is owed."""

from __future__ import annotations

from dataclasses import replace

import pytest

from assistant.language import vocabulary as w
from assistant.procedure.model import plan as p
from assistant.session import inputs
from assistant.session.facts import contacts, lines, machine
from assistant.session.state import FINAL_MODES
from tests.session.reach import PRESET, REACH
from tests.session.rich_plan import GO
from tests.session.urgent_plan import urgent_plan
from tests.session.walk import Walk


def _at(step: str, plan: p.Plan | None = None, mode: str = "") -> Walk:
    return Walk(plan or urgent_plan(), options=PRESET).go(step, mode=mode)


def _said(facts: list) -> list[str]:
    return [f.text for f in facts if isinstance(f, lines.LineSpoken)]


def test_the_word_that_confirms_goes_to_the_branch_although_a_re_wet_is_due():
    walk = _at("wet-left")
    walk.say("torn_glove", after=1_000)
    walk.after(60_000)
    said = _said(walk.say(w.CONFIRM))
    assert walk.state.top.branch == "torn" and walk.step == "torn-wash"
    assert not any("again" in text for text in said)
    walk.say(w.CONFIRM, after=2_000)
    assert not walk.state.top.branch


def test_the_branchs_own_re_wet_read_back_and_contact_go_on():
    own = p.Step(
        "spill-wet", p.WET, "Wet the floor.", surface="floor", agent="sporicide", agent_name="sporicide", reach=GO,
        contact_ms=100_000, wet_ms=50_000, lead_ms=15_000, policy=p.READ_BACK, claim="the floor is wet",
    )
    plan = urgent_plan()
    spill = replace(plan.mishaps["spill"], steps=(own,), spoils=(p.Spoil(p.SPOIL_CURRENT), p.Spoil(p.SPOIL_BELOW)))
    walk = _at("wet-left", replace(plan, mishaps={**plan.mishaps, "spill": spill}))
    walk.say("spill", after=1_000)
    walk.yes()
    assert walk.mode == "read_back"
    walk.yes(1_000)
    assert walk.mode == "wait" and "floor" in walk.state.contacts
    walk.after(40_000)
    assert walk.mode == "rewet" and walk.state.rewets == ("floor",)
    walk.say(w.REWETTED, after=3_000)
    walk.after(30_000)
    while walk.state.top.branch:
        walk.cooperate()
    assert "floor" in {f.surface for f in walk.of(contacts.ContactCompleted)}
    assert any("work tray: ready" in t.lower() or "floor: ready" in t.lower() for t in _said(walk.facts))


def test_a_more_urgent_mishap_is_accepted_at_once_and_the_first_goes_on_after_it():
    walk = _at("wet-left")
    walk.say("spill", after=1_000)
    said = _said(walk.say("torn_glove", after=1_000))
    assert said[0] == "Torn glove." and said[1].startswith("Take your hands out.")
    walk.yes()
    walk.yes()
    assert walk.state.top.branch == "spill"
    fire = _at("wet-left")
    fire.say("torn_glove", after=1_000)
    fire.say("fire", after=1_000)
    assert fire.mode == "left"


def test_a_less_urgent_mishap_is_noted_and_dealt_with_after_the_person():
    walk = _at("wet-left")
    walk.say("torn_glove", after=1_000)
    at = walk.step
    said = _said(walk.say("spill", after=1_000))
    assert said[0] == "Spill is noted. First, torn glove." and walk.step == at
    walk.yes()
    walk.yes()
    assert walk.state.top.branch == "spill"
    assert walk.finish() == "complete"


def test_the_first_words_after_a_person_mishap_are_its_own_wherever_the_hands_are():
    out = p.Step("rinse", p.INSTRUCT, "Rinse your eyes now and shout for help.", reach=p.ROOM)
    plan = urgent_plan()
    splash = replace(plan.mishaps["splash"], steps=(out,))
    walk = _at("wet-left", replace(plan, mishaps={**plan.mishaps, "splash": splash}))
    assert walk.state.hands == GO
    said = _said(walk.say("splash", after=1_000))
    assert said[1].startswith("Rinse your eyes now and shout for help.")
    walk.yes()
    assert [f.to for f in walk.of(machine.HandsMoved)][-1] == p.ROOM


def test_the_questions_after_a_break_wait_for_the_person():
    walk = _at("wet-left")
    walk.say("torn_glove", after=1_000)
    walk.give(inputs.Recover(1_000, "crash"))
    assert walk.step == "torn-out" and walk.mode == "step"  # the questions about doors and hands come after
    walk.yes()
    walk.yes()
    assert walk.mode == "recover"
    assert walk.finish() == "complete"


@pytest.mark.parametrize("mode", [m for m in REACH if m not in FINAL_MODES])
def test_a_mishap_or_a_stop_is_taken_in_every_mode_the_questions_at_the_start_among_them(mode: str):
    for mishap in urgent_plan().mishaps.values():
        walk = REACH[mode]()
        walk.plan = replace(walk.plan, mishaps=urgent_plan().mishaps)
        walk.watch = None
        heard = [f for f in walk.say(mishap.word, after=3_000) if isinstance(f, lines.Heard)]
        assert heard[0].accepted
    walk = REACH[mode]()
    walk.say(w.STOP, after=3_000)
    assert walk.mode == "stopping"


def test_after_a_mishap_at_the_start_the_question_is_asked_again():
    walk = Walk(urgent_plan())
    assert walk.mode == "option"
    walk.say("unwell", after=1_000)
    assert walk.step == "unwell-sit"
    walk = Walk(urgent_plan())
    walk.say("torn_glove", after=1_000)
    walk.yes()
    walk.yes()
    assert walk.mode == "option"


def test_a_power_cut_while_a_person_is_in_danger_asks_nothing_before_the_end_of_their_branch():
    walk = _at("wet-left")
    walk.say("torn_glove", after=1_000)
    walk.say("power_cut", after=1_000)
    assert walk.mode == "step" and walk.state.top.branch == "torn"
    walk.yes()
    walk.yes()
    assert walk.mode == "which"


def test_a_mishap_that_ends_the_run_says_before_that_what_dried():
    plan = urgent_plan()
    unwell = replace(plan.mishaps["unwell"], spoils=())
    walk = _at("wet-left", replace(plan, mishaps={**plan.mishaps, "unwell": unwell}))
    walk.say("unwell", after=1_000)
    walk.after(200_000)
    said = _said(walk.yes())
    assert walk.mode == "stopped" and any(text.startswith("Meanwhile dried: ") for text in said)


def test_whoever_signs_in_while_a_person_is_in_danger_takes_over_after_that():
    walk = _at("wet-left")
    walk.say("torn_glove", after=1_000)
    walk.give(inputs.SignIn("Cy"))
    assert walk.state.top.branch == "torn" and walk.state.person != "Cy"
    assert walk.finish() == "complete" and walk.state.person == "Cy"


def test_a_step_of_a_finished_mishap_taken_back_while_a_person_is_in_danger_is_done_again_after_that():
    walk = _at("wet-left")
    walk.say("wipe_reused", after=1_000)
    walk.yes()
    walk.say("torn_glove", after=1_000)
    walk.say(w.CORRECTION, after=1_000)
    assert walk.state.top.branch == "torn"
    assert walk.finish() == "complete"


def test_back_in_the_branch_after_an_interruption_nothing_is_said_of_what_is_wet():
    walk = _at("wet-left")
    assert walk.state.contacts
    walk.say("torn_glove", after=1_000)
    walk.say(w.PAUSE, after=1_000)
    said = _said(walk.say(w.RESUME, after=1_000))
    assert said == ["Back to: Take your hands out."]


def test_nobody_is_warned_of_a_steps_time_limit_while_a_person_is_in_danger():
    walk = _at("wet-left")  # due four minutes after the inner door was opened
    walk.say("torn_glove", after=1_000)
    walk.after(400_000)
    assert not walk.of(machine.LimitWarned) and walk.of(machine.LimitMissed)
