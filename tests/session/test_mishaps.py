"""Mishaps: the person first, then what was spoiled, worked out from what depended on it; nested, named at any time."""

from __future__ import annotations

from dataclasses import replace

import pytest

from assistant.language import vocabulary as w
from assistant.procedure.model import plan as p
from assistant.session import inputs
from assistant.session.facts import contacts, lines, machine, session, steps, troubles
from assistant.session.order.bridges import MICROPHONE, SIGN_IN
from assistant.session.state import FINAL_MODES
from tests.session.reach import PRESET, REACH
from tests.session.rich_plan import rich_plan
from tests.session.walk import Walk
from tests.session.wall_plan import look, wall, walls

OPEN = [mode for mode in REACH if mode not in FINAL_MODES]


def _walk(step: str, mode: str = "") -> Walk:
    return Walk(rich_plan(), options=PRESET).go(step, mode=mode)


def test_after_a_pressure_alarm_amid_the_wiping_the_purge_comes_when_it_is_needed_and_not_at_once():
    plan = rich_plan()
    alarm = replace(plan.mishaps["alarm"], spoils=())
    walk = Walk(replace(plan, mishaps={**plan.mishaps, "alarm": alarm}), options=PRESET).go("wet-left")
    walk.say("pressure_alarm", after=1_000)
    walk.yes()
    assert walk.step == "wet-left" and walk.state.cycles["purge"].status == "broken"
    begun = len(walk.facts)
    assert walk.finish() == "complete"
    started = [f.step for f in walk.facts[begun:] if isinstance(f, steps.StepStarted)]
    assert started.count("purge") == 1 and started.index("purge") > started.index("look")


def test_before_a_door_that_needs_it_the_broken_purge_comes_first():
    plan = rich_plan()
    again = tuple(replace(s, id=f"{s.id}-again") for s in plan.steps if s.id in ("close-inner", "open-inner"))
    at = next(i for i, s in enumerate(plan.steps) if s.id == "look")
    alarm = replace(plan.mishaps["alarm"], spoils=())
    walk = Walk(
        replace(plan, steps=(*plan.steps[:at], *reversed(again), *plan.steps[at:]), mishaps={**plan.mishaps, "alarm": alarm}),
        options=PRESET,
    ).go("wet-left")
    walk.say("pressure_alarm", after=1_000)
    walk.yes()
    walk.go("look")
    started = [f.step for f in walk.of(steps.StepStarted)]
    assert started.index("close-inner-again") < len(started) - started[::-1].index("purge") - 1 < started.index("open-inner-again")


@pytest.mark.parametrize("mode", OPEN)
def test_every_mishap_can_be_entered_from_every_mode(mode: str):
    for mishap in rich_plan().mishaps.values():
        walk = REACH[mode]()
        walk.say(mishap.word, after=3_000)
        entered = [f.mishap for f in walk.of(troubles.BranchEntered)]
        if mishap.asks_which or any(s.what == p.SPOIL_CHOSEN for s in mishap.spoils):
            asked = walk.mode == "which" and walk.state.mishap == mishap.id
            assert asked or entered[-1:] == [mishap.id], (mode, mishap.id)
        else:
            assert entered[-1:] == [mishap.id], (mode, mishap.id)


@pytest.mark.parametrize("mode", [m for m in OPEN if m not in ("stopping",)])
def test_after_a_mishap_from_any_mode_the_clean_can_still_be_finished(mode: str):
    walk = REACH[mode]()
    walk.say("wipe_reused", after=3_000)
    assert walk.finish() == "complete"


def test_the_person_comes_first_the_list_of_what_to_redo_after():
    walk = _walk("wet-floor")
    said = [f.text for f in walk.say("torn_glove", after=2_000) if isinstance(f, lines.LineSpoken)]
    assert said[0] == "Torn glove." and said[1].startswith("Take your hands out.")
    walk.yes()
    said = [f.text for f in walk.yes() if isinstance(f, lines.LineSpoken)]
    assert said[0] == "Tell your supervisor."
    assert not any("again" in text for text in said[:1]) and "We go on with the clean." in said


def test_what_is_below_and_beside_is_owed_and_what_is_above_stays():
    walk = _walk("wait", "wait")
    walk.at(walk.now + 200_000)
    walk = _walk("look")
    walk.say("spill", after=1_000)  # the surface at hand is none; the last wetted is the tray, lowest of all
    owed = {f.step for f in walk.of(steps.StepOwed)}
    assert owed == {"wet-floor", "wait"}
    walk = _walk("wet-left")
    before = set(walk.state.main.done)
    walk.say("spill", after=1_000)
    assert before - set(walk.state.main.done) == set()  # left itself isn't done; the tray below isn't yet wetted


def test_a_redo_is_recorded_with_its_reasons_one_for_each_step():
    walk = _walk("look")
    walk.say("spill", after=1_000)
    plan = walk.of(troubles.RedoPlanned)[-1]
    assert plan.steps == ("wet-floor", "wait")
    assert plan.reasons == ("work tray: spill", "what it waited for must be done again")


def test_what_rested_on_a_finished_surface_is_owed_with_it():
    walk = _walk("seen", "witness")
    walk.say("touched", after=1_000)
    number = walk.state.which.index("back") + 1
    walk.value(str(number), 1_000)
    owed = [f.step for f in walk.of(steps.StepOwed)]
    assert owed == ["soap-back", "wet-back", "wait", "look"]
    assert walk.finish() == "complete"


def test_a_touch_voids_that_surface_alone_wet_or_finished():
    plan = walls(wall("back", 60_000, 200_000), wall("left", 60_000, 200_000), wall("floor", 60_000, 200_000), look(),
                 mishaps={"touched": p.Mishap("touched", "touched", "touched", (), (p.Spoil(p.SPOIL_CHOSEN),))})
    for pick in ("back", "left"):
        walk = Walk(plan)
        walk.say(w.CONFIRM, after=5_000)
        walk.say(w.CONFIRM, after=50_000)
        walk.at(66_000)  # back is finished, left is wet, floor is at hand
        walk.say("touched", after=1_000)
        assert set(walk.state.which) == {"back", "left"}
        walk.value(str(walk.state.which.index(pick) + 1), 1_000)
        assert [f.surface for f in walk.of(troubles.SurfaceSpoiled)] == [pick]
        assert [f.step for f in walk.of(steps.StepOwed)] == [f"wet-{pick}"]
        other = {"back": "left", "left": "back"}[pick]
        assert walk.state.surfaces[other] in ("clean", "wet")


def test_dry_surface_asks_about_wet_ones_and_those_that_were_when_the_word_began():
    plan = walls(wall("back", 60_000, 200_000), wall("left", 90_000, 200_000), look(),
                 mishaps={"dry": p.Mishap("dry", "dry_surface", "dry", (), (p.Spoil(p.SPOIL_CHOSEN),))})
    for began, choices in ((64_999, ("left", "back")), (65_001, ())):
        walk = Walk(plan)
        walk.say(w.CONFIRM, after=5_000)
        walk.say(w.CONFIRM, after=5_000)
        walk.at(66_000).give(inputs.Word("dry_surface", began, 65_600))
        assert walk.state.which == choices
    assert [f.surface for f in walk.of(troubles.SurfaceSpoiled)] == ["left"]


def test_an_odd_number_is_refused_and_the_question_stays():
    walk = _walk("seen", "witness")
    walk.say("touched", after=1_000)
    for odd in ("0", "99", "x", "", "\u00b2", "-1"):
        walk.value(odd, 500)
        assert walk.mode == "which", odd
    walk.say(w.CANCEL)
    assert walk.mode == "witness"


def test_an_alarm_breaks_what_runs_and_what_was_complete_and_owes_them():
    walk = _walk("purged", "wait")
    walk.say("pressure_alarm", after=5_000)
    assert [f.cycle for f in walk.of(machine.CycleBroken)] == ["purge"]
    assert {"purge"} <= {f.step for f in walk.of(steps.StepOwed)}
    walk.yes()
    assert any("purge no longer counts" in f.text for f in walk.of(lines.LineSpoken))
    assert walk.finish() == "complete"
    starts = walk.of(machine.CycleStarted)
    assert len(starts) == 2 and starts[1].due_ms - starts[1].started_ms == 90_000


def test_power_cut_asks_which_and_only_the_enclosures_costs_anything():
    walk = _walk("purged", "wait")
    walk.say("power_cut", after=5_000)
    assert walk.mode == "which" and "Say computer, or enclosure." in walk.of(lines.LineSpoken)[-1].text
    walk.say("power_cut", after=1_000)  # said again: asked again, never taken for an answer
    assert walk.mode == "which" and not walk.of(troubles.BranchEntered)
    before = walk.state
    walk.say(w.COMPUTER, after=1_000)
    assert walk.mode == "wait" and walk.state.cycles == before.cycles and not walk.of(machine.CycleBroken)
    walk.say("power_cut", after=1_000)
    walk.say(w.ENCLOSURE, after=1_000)
    assert walk.state.top.branch == "power" and walk.of(machine.CycleBroken)


def test_another_mishap_may_be_named_while_a_question_about_one_is_open():
    walk = _walk("seen", "witness")
    walk.say("touched", after=1_000)
    walk.say("power_cut", after=1_000)
    assert (walk.mode, walk.state.mishap) == ("which", "power")
    walk.say("splash", after=1_000)
    assert walk.state.top.branch == "splash"


def test_a_mishap_within_a_mishap_within_a_mishap_comes_back_step_by_step():
    walk = _walk("wet-floor")
    walk.say("torn_glove", after=1_000)
    walk.say("wipe_reused", after=1_000)
    walk.say("dropped_item", after=1_000)
    assert [f.branch for f in walk.state.frames] == ["", "torn", "reused", "dropped"]
    assert walk.finish() == "complete"
    left = [f.mishap for f in walk.of(troubles.BranchLeft)]
    assert left == ["dropped", "reused", "torn"]


def test_the_same_mishap_once_more_begins_anew_and_never_piles_up():
    walk = _walk("wet-floor")
    for _ in range(40):
        for word in ("torn_glove", "dropped_item", "wipe_reused"):
            walk.say(word, after=500)
    assert len(walk.state.frames) == 4
    assert walk.finish() == "complete"


def test_fire_asks_nothing_says_the_way_out_and_ends():
    for mode in OPEN:
        walk = REACH[mode]()
        facts = walk.say(w.FIRE, after=500)
        said = [f.text for f in facts if isinstance(f, lines.LineSpoken)]
        assert said == ["Fire.", "Leave now.", "Do fire-go.", "Leave now."], mode
        assert not [f for f in facts if isinstance(f, lines.LineSpoken) and f.role == lines.QUESTION]
        assert walk.state.verdict == "left"


def test_a_fire_the_site_forgot_still_means_leave_and_another_mishap_it_forgot_is_said():
    walk = Walk(walls(look(), look("more"), mishaps={}))
    walk.say("splash", after=1_000)
    assert [f.code for f in walk.of(troubles.Deviation)] == ["mishap_unknown"] and walk.step == "look"
    walk.say(w.FIRE, after=1_000)
    assert walk.state.verdict == "left"


def test_unwell_ends_in_a_safe_stop_that_says_what_is_open():
    walk = _walk("wet-floor")
    walk.say("unwell", after=1_000)
    walk.yes()
    facts = walk.yes()
    stop = walk.of(session.StopBegun)[-1]
    assert any("inner door" in line for line in stop.to_do)
    assert any("Close the inner door." in f.text for f in facts if isinstance(f, lines.LineSpoken))
    assert walk.state.verdict == "stopped" and "opening:inner" in walk.of(session.VerdictReached)[0].left_open


def test_a_stop_says_everything_waits_for_its_own_word_and_can_be_called_off():
    walk = _walk("wet-left")
    walk.say(w.STOP, after=1_000)
    text = walk.of(lines.LineSpoken)[-1].text
    for part in ("Still wet: ceiling and back wall.", "Close the inner door.", "Set the fan to off.", "Take your hands out"):
        assert part in text, part
    walk.say(w.CANCEL, after=1_000)
    assert walk.mode == "step" and walk.step == "wet-left" and walk.state.stop_depth == 0


@pytest.mark.parametrize("word", ["wipe_reused", "torn_glove", "hand_over"])
def test_a_mishap_or_a_break_while_stopping_doesnt_make_it_forget_the_stop(word: str):
    walk = _walk("wet-left")
    walk.say(w.STOP, after=1_000)
    walk.say(word, after=1_000)
    while walk.state.top.branch:
        walk.cooperate()
    assert walk.mode == "stopping"
    walk.give(inputs.Recover(5_000))
    while walk.mode == "recover":
        walk.cooperate()
    assert walk.mode == "stopping"
    walk.yes()
    assert walk.state.verdict == "stopped"


def test_a_stop_never_piles_up():
    walk = _walk("wet-shelf")
    for _ in range(30):
        walk.say(w.STOP, after=100)
        walk.say(w.TROUBLE, after=100)
    walk.say(w.STOP, after=100)
    assert walk.state.under == ("step",)
    walk.say(w.CANCEL, after=100)
    assert walk.mode == "step"


def test_a_hand_over_needs_the_new_person_and_their_voice_and_keeps_the_firsts_work_theirs():
    walk = _walk("wet-left")
    walk.say("hand_over", after=1_000)
    walk.go("over-tell").yes()
    assert walk.step == SIGN_IN
    walk.yes()
    assert walk.step == SIGN_IN and "sign in first" in walk.of(lines.LineSpoken)[-1].text
    walk.give(inputs.SignIn("ada"))  # the same person under another spelling is nobody new
    assert walk.step == SIGN_IN
    walk.give(inputs.SignIn("Cy"))
    assert walk.step == MICROPHONE and walk.state.person == "Cy"
    walk.yes()
    assert walk.step == "over-dressed"
    assert walk.finish() == "complete"
    people = [(f.step, f.person) for f in walk.of(steps.StepConfirmed)]
    assert ("wet-back", "Ada") in people and ("over-tell", "Ada") in people and ("over-dressed", "Cy") in people


def test_a_sign_in_out_of_the_blue_is_a_hand_over_and_inside_one_it_isnt_a_second():
    walk = _walk("wet-left")
    walk.after(1_000).give(inputs.SignIn("Cy"))
    assert walk.state.top.branch == "over" and walk.state.person == "Cy"
    assert walk.finish() == "complete"
    assert len(walk.of(troubles.BranchEntered)) == 1 and SIGN_IN not in [f.step for f in walk.of(steps.StepStarted)]
    walk = _walk("wet-left")
    walk.say("torn_glove", after=1_000)
    walk.say("hand_over", after=1_000)
    walk.give(inputs.SignIn("Cy"))
    assert [f.branch for f in walk.state.frames] == ["", "torn", "over"]


def test_a_branch_that_wets_waits_for_its_own_contact_and_redoes_it_when_dried():
    own = p.Step("own", p.WET, "Wipe it.", surface="back", agent="alcohol", contact_ms=60_000, wet_ms=40_000,
                 lead_ms=10_000)
    plan = walls(wall("back", 60_000, 200_000), look(),
                 mishaps={"spill": p.Mishap("spill", "spill", "spill", (own,), ())})
    walk = Walk(plan)
    walk.yes()
    walk.at(66_000)
    walk.say("spill", after=1_000)
    walk.yes()
    assert walk.mode == "wait" and walk.state.top.branch == "spill"
    walk.after(45_000)
    assert walk.step == "own" and len(walk.of(contacts.ContactVoided)) == 1
    assert walk.finish() == "complete"


def test_a_spill_reaches_what_lies_below_and_not_what_lies_above():
    surfaces = {n: p.Surface(n, n, "work", height=h) for n, h in (("low", 3), ("middle", 2), ("high", 1))}
    spill = p.Mishap("spill", "spill", "spill", (), (p.Spoil(p.SPOIL_CURRENT), p.Spoil(p.SPOIL_BELOW)))
    steps_ = (wall("high", 60_000, 900_000), wall("low", 60_000, 900_000), wall("middle", 60_000, 900_000), look())
    walk = Walk(walls(*steps_, mishaps={"spill": spill}, surfaces=surfaces)).go("look")
    walk.say("spill", after=1_000)  # where the last wiped is: the middle
    assert {f.surface for f in walk.of(troubles.SurfaceSpoiled)} == {"low", "middle"}
    assert {f.step for f in walk.of(steps.StepOwed)} == {"wet-low", "wet-middle"}


def _doors(*lines_of_work: p.Step, **changes: object) -> p.Plan:
    openings = {n: p.Opening(n, f"{n} door") for n in ("outer", "inner")}
    return walls(*lines_of_work, openings=openings, interlocks=(frozenset(openings),), **changes)


def test_an_interlocked_door_is_shut_before_the_other_is_opened():
    walk = Walk(_doors(p.Step("a", p.OPEN, "Open.", opening="outer"), p.Step("b", p.OPEN, "Open.", opening="inner")))
    walk.yes()
    assert walk.step == "bridge:close:outer"
    walk.yes()
    assert walk.step == "b"
    assert walk.finish() == "complete"


def test_a_door_opened_after_a_purge_uses_it_up_and_while_it_runs_breaks_it_aloud():
    cycle = {"purge": p.Cycle("purge", "purge", 60_000, broken_by_openings=("outer",))}
    need = (p.Cond("cycle", "purge", "complete"),)
    purge, waits = p.Step("purge", p.CYCLE, "Purge.", cycle="purge"), p.Step("w", p.WAIT, "Wait.", wait_for=("purge",))
    out, shut = p.Step("o", p.OPEN, "Open.", opening="outer"), p.Step("c", p.CLOSE, "Close.", opening="outer")
    walk = Walk(_doors(purge, waits, out, shut, look(requires=need), cycles=cycle))
    assert walk.finish() == "complete"
    assert len(walk.of(machine.CycleStarted)) == 2 and not walk.of(troubles.Deviation)
    walk = Walk(_doors(purge, out, shut, waits, look(), cycles=cycle))
    assert walk.finish() == "complete"
    assert [f.code for f in walk.of(troubles.Deviation)] == ["cycle_broken"]
    assert len(walk.of(machine.CycleStarted)) == 2


def test_a_sign_in_while_another_question_lies_over_it_counts_once_that_is_answered():
    for word, back in ((w.TROUBLE, w.CANCEL), (w.PAUSE, w.RESUME), ("power_cut", w.COMPUTER), (w.STOP, w.CANCEL)):
        walk = _walk("wet-left")
        walk.say("hand_over", after=1_000)
        walk.go("over-tell").yes()
        walk.say(word, after=1_000)
        walk.give(inputs.SignIn("Cy"))
        walk.say(back, after=1_000)
        assert (walk.step, walk.state.person) == (MICROPHONE, "Cy"), word
        assert walk.finish() == "complete"
