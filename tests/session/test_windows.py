"""Every window of the core, a millisecond on both sides. Windows are half-open; at equality dried wins.

Sources: the contact time is the label's, the surface visibly wet all through it (EPA, product label guidance, from
memory); the rest are this project's own rules.
"""

from __future__ import annotations

from dataclasses import replace

from assistant.language import vocabulary as w
from assistant.procedure.model import plan as p
from assistant.session import inputs
from assistant.session.facts import contacts, lines, machine, session, steps, troubles
from tests.session.small_plan import small_plan
from tests.session.walk import Walk
from tests.session.wall_plan import look, wall, walls


def _wet(contact: int = 60_000, wet: int = 90_000, lead: int = 0, at: int = 10_000, **more: object) -> Walk:
    """One wall claimed wet at `at`, its first stroke at 0."""
    walk = Walk(walls(wall("back", contact, wet, lead, **more), look()))
    walk.say(w.CONFIRM, after=at)
    return walk


def test_a_contact_completes_at_its_time_and_not_a_millisecond_before():
    walk = _wet()
    assert not walk.at(69_999).give(inputs.Tick())
    assert not walk.of(contacts.ContactCompleted)
    walk.at(70_000)
    assert [f.at_ms for f in walk.of(contacts.ContactCompleted)] == [70_000]


def test_a_contact_counts_from_the_end_of_the_word_however_late_it_is_understood():
    walk = Walk(walls(wall("back", 60_000, 90_000), look()))
    walk.say(w.CONFIRM, after=10_000, delay=1_500, long=400)
    assert walk.state.contacts["back"].complete_at_ms == 70_000


def test_a_word_understood_after_the_surface_dried_comes_too_late_though_it_ended_before():
    walk = _wet(60_000, 40_000, 10_000)
    walk.at(39_000).say(w.REWETTED, after=999, delay=1)
    assert [f.phase for f in walk.of(contacts.SurfaceDried)] == ["contact"]
    assert not walk.of(contacts.RewetConfirmed)


def test_drying_counts_from_the_start_of_the_step_or_from_the_said_first_stroke():
    walk = _wet(60_000, 90_000)
    assert walk.state.contacts["back"].dries_at_ms == 90_000
    walk = Walk(walls(wall("back", 60_000, 90_000), look()))
    walk.say(w.STARTED, after=4_000)
    walk.say(w.CONFIRM, after=6_000)
    assert walk.state.contacts["back"].dries_at_ms == 94_000


def test_the_first_stroke_counts_from_the_end_of_its_word():
    walk = Walk(walls(wall("back", 60_000, 90_000), look()))
    walk.say(w.STARTED, after=4_000, delay=700, long=300)
    assert walk.state.stroke_ms == 4_000


def test_a_second_first_stroke_cant_put_the_drying_off():
    walk = Walk(walls(wall("back", 60_000, 90_000), look()))
    walk.say(w.STARTED, after=4_000)
    walk.say(w.STARTED, after=4_000)
    assert walk.state.stroke_ms == 4_000
    walk = _wet(60_000, 40_000, 10_000).at(30_000)
    walk.say(w.STARTED, after=1_000)
    walk.say(w.STARTED, after=4_000)
    assert walk.state.contacts["back"].stroke_again_ms == 31_000


def test_a_rewet_is_asked_for_its_lead_before_drying_and_not_sooner():
    walk = _wet(60_000, 40_000, 15_000)
    assert walk.at(24_999).mode == "step"
    assert walk.at(25_000).mode == "rewet"
    assert [f.at_ms for f in walk.of(contacts.RewetAsked)] == [25_000]


def test_a_rewet_confirmed_a_millisecond_before_drying_is_in_time_and_at_drying_too_late():
    walk = _wet(60_000, 40_000, 15_000)
    walk.at(39_999).give(inputs.Word(w.REWETTED))
    assert [f.at_ms for f in walk.of(contacts.RewetConfirmed)] == [39_999]
    walk = _wet(60_000, 40_000, 15_000)
    walk.at(39_999)
    walk.now = 40_000  # the word itself is the first thing decided at that moment
    walk.give(inputs.Word(w.REWETTED))
    assert [f.due_ms for f in walk.of(contacts.SurfaceDried)] == [40_000]
    assert not walk.of(contacts.RewetConfirmed)
    assert [f.code for f in walk.of(troubles.Deviation)] == ["dried_contact"]


def test_a_rewet_dries_from_its_said_first_stroke_or_from_when_it_was_asked_for():
    walk = _wet(100_000, 40_000, 15_000).at(30_000)
    walk.give(inputs.Word(w.REWETTED))
    assert walk.state.contacts["back"].dries_at_ms == 25_000 + 40_000
    walk = _wet(100_000, 40_000, 15_000).at(30_000)
    walk.give(inputs.Word(w.STARTED))
    walk.say(w.REWETTED, after=3_000)
    assert walk.state.contacts["back"].dries_at_ms == 30_000 + 40_000


def test_at_equality_dried_wins():
    # Wet to 70 s by the clock of drying, complete at 70 s by the contact's: it was dry at 70 s.
    walk = _wet(60_000, 70_000, 0)
    walk.at(200_000)
    assert [f.due_ms for f in walk.of(contacts.SurfaceDried)][:1] == [70_000]
    assert not walk.of(contacts.ContactCompleted)
    walk = _wet(60_000, 70_001, 0)
    walk.at(200_000)
    assert [f.due_ms for f in walk.of(contacts.ContactCompleted)] == [70_000]


def test_at_equality_a_rewet_is_asked_for_and_a_millisecond_longer_none():
    assert _wet(60_000, 70_000, 20_000).at(50_000).mode == "rewet"
    assert _wet(60_000, 70_001, 20_000).at(50_001).mode == "step"


def test_the_surface_at_hand_dries_at_its_wet_time_from_the_first_stroke():
    walk = Walk(walls(wall("back", 60_000, 40_000), look()))
    walk.at(39_999).give(inputs.Word(w.CONFIRM))
    assert walk.of(contacts.ContactStarted)
    walk = Walk(walls(wall("back", 60_000, 40_000), look()))
    walk.now = 40_000
    walk.give(inputs.Word(w.CONFIRM))
    assert not walk.of(contacts.ContactStarted)
    assert [f.phase for f in walk.of(contacts.SurfaceDried)] == ["wetting"]
    assert (walk.step, walk.state.since_ms) == ("wet-back", 40_000)


def test_a_cycle_ends_at_its_time_and_not_a_millisecond_before():
    walk = Walk(small_plan()).go("purge")
    walk.yes()
    due = walk.now + 120_000
    walk.at(due - 1)
    assert not walk.of(machine.CycleCompleted)
    walk.at(due)
    assert [f.due_ms for f in walk.of(machine.CycleCompleted)] == [due]


def test_no_word_shortens_a_cycle():
    walk = Walk(small_plan()).go("purge")
    walk.yes()
    due = walk.state.cycles["purge"].due_ms
    for word in sorted(w.ALL - {w.STOP, w.FIRE, *w.MISHAPS, w.CORRECTION, w.GO_BACK}):
        walk.say(word, after=1_000)
        assert walk.state.cycles["purge"].due_ms == due and walk.state.cycles["purge"].status == "running", word


def test_an_open_door_warns_and_then_is_a_deviation():
    walk = Walk(small_plan())
    walk.yes()
    opened = walk.now
    walk.at(opened + 239_999)
    assert not walk.of(machine.LimitWarned)
    walk.at(opened + 240_000)
    assert len(walk.of(machine.LimitWarned)) == 1
    walk.at(opened + 299_999)
    assert not walk.of(machine.LimitMissed)
    walk.at(opened + 300_000)
    assert [f.code for f in walk.of(troubles.Deviation) if f.code.startswith("limit")] == ["limit_opening_missed"]
    walk.at(opened + 900_000)
    assert len(walk.of(machine.LimitMissed)) == 1


def test_a_step_that_must_follow_in_time_is_a_deviation_when_it_doesnt():
    plan = walls(look("first"), look("second", after_step="first", within_ms=30_000, warn_ms=10_000))
    walk = Walk(plan)
    walk.yes()
    walk.at(35_000 - 1)
    assert [len(walk.of(k)) for k in (machine.LimitWarned, machine.LimitMissed)] == [1, 0]
    walk.at(35_000)
    assert [f.about for f in walk.of(troubles.Deviation)] == ["step:second"]
    walk = Walk(plan)
    walk.yes()
    walk.at(34_999).give(inputs.Word(w.CONFIRM))
    assert not walk.at(60_000).of(troubles.Deviation)


def test_a_limit_of_a_step_left_out_or_not_called_for_is_none():
    late = {"after_step": "first", "within_ms": 30_000}
    walk = Walk(walls(look("first"), look("second", when=(p.When("o", True),), **late), look("third")))
    walk.yes()
    assert not walk.at(90_000).of(machine.LimitMissed)
    walk = Walk(walls(look("first"), look("second", **late), look("third")))
    walk.yes()
    walk.say(w.SKIP)
    walk.yes(1_000)
    assert [f.code for f in walk.at(90_000).of(troubles.Deviation)] == ["skipped"]


def test_an_impossible_claim_is_questioned_and_a_possible_one_isnt():
    plan = walls(wall("back", 60_000, 90_000, impossible_ms=3_000, floor_ms=8_000), look())
    walk = Walk(plan)
    walk.say(w.CONFIRM, after=2_999)
    assert walk.of(steps.ClaimQuestioned) and not walk.of(steps.StepConfirmed)
    walk.say(w.CONFIRM, after=10)
    assert [f.quick for f in walk.of(steps.StepConfirmed)] == [True]
    walk = Walk(plan)
    walk.say(w.CONFIRM, after=3_000)
    assert not walk.of(steps.ClaimQuestioned) and walk.of(steps.StepConfirmed)


def test_a_claim_below_the_floor_is_recorded_as_quick_and_at_the_floor_isnt():
    plan = walls(wall("back", 60_000, 90_000, floor_ms=8_000), look())
    for after, quick in ((7_999, True), (8_000, False)):
        walk = Walk(plan)
        walk.say(w.CONFIRM, after=after)
        assert [f.quick for f in walk.of(steps.StepConfirmed)] == [quick]


def test_a_questioned_claim_can_be_denied():
    walk = Walk(walls(look(impossible_ms=3_000)))
    walk.say(w.CONFIRM, after=1_000)
    walk.say(w.NO, after=1_000)
    assert walk.of(steps.ClaimDropped) and not walk.state.questioned
    walk.say(w.CONFIRM, after=1)
    assert walk.state.questioned and not walk.of(steps.StepConfirmed)


def test_a_word_begun_before_the_question_came_up_cant_answer_it():
    for early, counts in ((1, False), (0, True)):
        walk = Walk(walls(look("first"), look("second")))
        walk.yes()
        at = walk.now
        walk.after(300)
        walk.give(inputs.Word(w.CONFIRM, at - early, at + 200))
        assert bool([f for f in walk.of(steps.StepConfirmed) if f.step == "second"]) is counts
        assert walk.of(lines.Heard)[-1].reason == ("" if counts else "said before the question")


def test_a_word_that_meets_a_question_in_the_same_moment_cant_answer_it():
    walk = _wet(60_000, 40_000, 15_000)
    walk.at(24_999)
    walk.now = 25_000  # the re-wet comes up in this very decision; the key was pressed for the step
    walk.give(inputs.Word(w.CONFIRM))
    assert walk.mode == "rewet" and not walk.of(contacts.RewetConfirmed)
    assert not [f for f in walk.of(steps.StepConfirmed) if f.step == "look"]


def test_a_voice_begun_before_a_line_ended_counts_for_nothing_and_keys_always_count():
    plan = walls(look("first"), look("second"))
    for began, source, counts in ((2_999, "voice", False), (3_000, "voice", True), (2_999, "keys", True)):
        walk = Walk(plan, voice=True)
        walk.at(3_000)
        for line in sorted(walk.state.open_lines):
            walk.give(inputs.LineDone(line, 0, 3_000))
        walk.at(3_500).give(inputs.Word(w.CONFIRM, began, 3_400, source))
        assert bool(walk.of(steps.StepConfirmed)) is counts


def test_a_voice_while_a_line_sounds_never_confirms_and_stop_always_counts():
    walk = Walk(walls(look("first"), look("second")), voice=True)
    for word in sorted(w.ALL - {w.STOP, w.REPEAT}):
        walk.after(100).give(inputs.Word(word, source="voice"))
        assert walk.of(lines.Heard)[-1].reason == "while speaking", word
    assert not walk.of(steps.StepConfirmed) and walk.mode == "step"
    walk.after(100).give(inputs.Word(w.STOP, source="voice"))
    assert walk.mode == "stopping"


def test_the_countdown_says_each_mark_once_and_only_what_lies_ahead():
    plan = walls(wall("back", 60_000, 90_000), p.Step("wait", p.WAIT, "Wait.", wait_for=("*",), reach=""),
                 countdown_ms=(90_000, 60_000, 30_000, 10_000))
    walk = Walk(plan)
    walk.yes()
    walk.at(200_000)
    assert [(f.at_ms, f.mark_ms) for f in walk.of(steps.TimeLeftSaid)] == [(35_000, 30_000), (55_000, 10_000)]
    assert [f.text for f in walk.of(lines.LineSpoken) if f.role == lines.ANNOUNCEMENT][:2] == [
        "30 seconds left.", "10 seconds left."]


def test_a_countdown_that_comes_late_says_one_mark_and_the_truth():
    plan = walls(wall("back", 60_000, 90_000), p.Step("wait", p.WAIT, "Wait.", wait_for=("*",), reach=""),
                 countdown_ms=(30_000, 10_000))
    walk = Walk(plan)
    walk.yes()
    walk.now = 58_000
    said = [f.text for f in walk.give(inputs.Tick()) if isinstance(f, lines.LineSpoken)]
    assert said == ["7 seconds left."]


def test_ends_that_are_close_are_announced_in_one_line_and_others_apart():
    for gap, said in ((3_000, ["Back wall and left wall: ready."]), (3_001, ["Back wall: ready.", "Left wall: ready."])):
        plan = walls(wall("back", 60_000, 200_000), wall("left", 60_000, 200_000), look())
        walk = Walk(plan)
        walk.say(w.CONFIRM, after=5_000)
        walk.say(w.CONFIRM, after=gap)
        walk.at(100_000)
        assert [f.text for f in walk.of(lines.LineSpoken) if f.role == lines.ANNOUNCEMENT] == said


def test_a_chain_of_close_ends_doesnt_put_the_first_one_off_for_long():
    names = ["n0", "n1", "n2", "n3", "n4", "n5"]
    walk = Walk(walls(*(wall(n, 60_000, 300_000) for n in names), look()))
    for _ in names:
        walk.say(w.CONFIRM, after=2_000)
    walk.at(100_000)
    ends = {f.surface: f.at_ms for f in walk.of(contacts.ContactCompleted)}
    for fact in walk.of(lines.Announced):
        assert all(fact.at_ms - ends[e] <= 3_000 for e in fact.ends)


def test_ends_are_never_announced_over_a_line():
    walk = Walk(walls(wall("back", 60_000, 200_000), look()), voice=True)
    for line in sorted(walk.state.open_lines):
        walk.give(inputs.LineDone(line, 0, 0))
    walk.say(w.CONFIRM, after=5_000)
    walk.at(66_000)
    assert walk.of(contacts.ContactCompleted) and not walk.of(lines.Announced)
    for line in sorted(walk.state.open_lines):
        walk.give(inputs.LineDone(line, 65_000, 66_000))
    assert walk.of(lines.Announced)


def test_what_ended_after_a_mishap_was_said_is_spoiled_by_it():
    plan = walls(wall("back", 60_000, 200_000), look(), mishaps={
        "alarm": p.Mishap("alarm", "pressure_alarm", "alarm", (look("still"),), (p.Spoil(p.SPOIL_RUNNING),))})
    for ended, spoiled in ((64_999, True), (65_000, False)):
        walk = Walk(plan)
        walk.say(w.CONFIRM, after=5_000)
        walk.at(65_400).give(inputs.Word("pressure_alarm", ended - 300, ended))
        assert bool(walk.of(troubles.SurfaceSpoiled)) is spoiled


def test_time_given_backwards_counts_as_the_sessions_own():
    walk = _wet()
    walk.at(30_000).give(inputs.Word(w.WHERE))
    now, walk.now = walk.now, 1_000
    walk.give(inputs.Word(w.WHERE))
    assert walk.facts[-1].at_ms == now


def test_a_clock_step_is_a_fact_and_shortens_nothing():
    walk = _wet()
    before = walk.state.contacts["back"]
    walk.at(20_000).give(inputs.ClockStep(-3_600_000))
    assert walk.of(troubles.ClockStepped) and walk.state.contacts["back"] == before
    walk.at(69_999)
    assert not walk.of(contacts.ContactCompleted)


def test_a_pause_stops_no_timer_and_a_rewet_is_asked_for_and_confirmed_while_paused():
    walk = _wet(100_000, 40_000, 15_000)
    walk.say(w.PAUSE)
    assert walk.at(25_000).mode == "rewet"
    walk.say(w.REWETTED, after=5_000)
    assert walk.mode == "paused" and walk.of(contacts.RewetConfirmed)
    walk.say(w.RESUME, after=1_000)
    assert walk.mode == "step"
    due = walk.state.contacts["back"].complete_at_ms
    assert due == 110_000


def test_a_surface_whose_rewet_cant_be_asked_for_dries_and_is_owed():
    moved = p.Step("out", p.MOVE, "Hands out.", hands=p.ROOM)
    plan = small_plan(steps=(replace(small_plan().steps[6], requires=(), reach=p.GAUNTLETS), moved, look()),
                      openings={}, cycles={}, interlocks=(), start_hands=p.GAUNTLETS)
    walk = Walk(plan)
    walk.yes()
    walk.yes(2_000)
    walk.at(45_000)
    assert not walk.of(contacts.RewetAsked)
    assert [f.code for f in walk.of(troubles.Deviation)] == ["dried_contact"]
    assert "wet-back" not in walk.state.main.done


def test_a_rewet_held_back_by_a_question_is_asked_for_as_soon_as_it_is_answered():
    for word, back in ((w.TROUBLE, w.CANCEL), (w.STOP, w.CANCEL)):
        walk = _wet(100_000, 40_000, 15_000)
        walk.say(word)
        assert not walk.at(30_000).of(contacts.RewetAsked)
        walk.say(back)
        assert walk.mode == "rewet"
        walk = _wet(100_000, 40_000, 15_000)
        walk.say(word)
        walk.at(40_000)
        assert [f.code for f in walk.of(troubles.Deviation)] == ["dried_contact"]


def test_of_two_rewets_the_first_asked_for_stays_the_one_a_word_confirms():
    walk = Walk(walls(wall("back", 100_000, 40_000, 20_000), wall("left", 100_000, 40_000, 20_000), look()))
    walk.say(w.CONFIRM, after=5_000)
    walk.say(w.CONFIRM, after=5_000)
    walk.at(26_000)
    assert walk.state.rewets == ("back", "left")
    assert "Wet the back wall again now." in walk.of(lines.LineSpoken)[-1].text
    walk.say(w.REWETTED)
    assert walk.state.rewets == ("left",) and "left wall again now" in walk.of(lines.LineSpoken)[-1].text
    walk.say(w.REWETTED, after=1_000)
    assert walk.mode == "step" and [f.surface for f in walk.of(contacts.RewetConfirmed)] == ["back", "left"]


def test_a_patch_sets_todays_wet_time_and_never_longer_than_the_files():
    patch = p.Step("patch", p.PATCH, "Wet a patch.", surface="back", agent="alcohol", wet_ms=90_000, reach="")
    for took, wet in ((50_000, 50_000), (120_000, 90_000)):
        walk = Walk(walls(patch, wall("back", 60_000, 90_000, 10_000), look()))
        walk.yes()
        walk.yes(took)
        assert [(f.measured_ms, f.wet_ms) for f in walk.of(contacts.PatchDried)] == [(took, wet)]
        start = walk.state.since_ms
        walk.yes(2_000)
        assert walk.state.contacts["back"].dries_at_ms == start + wet


def test_a_patch_taken_back_gives_the_files_time_again_and_a_slip_is_questioned():
    patch = p.Step("patch", p.PATCH, "Wet a patch.", surface="back", agent="alcohol", wet_ms=90_000, reach="")
    walk = Walk(walls(patch, wall("back", 60_000, 90_000, 10_000), look()))
    walk.yes()
    walk.say(w.CONFIRM, after=999)
    assert walk.of(steps.ClaimQuestioned) and not walk.of(contacts.PatchDried)
    walk.say(w.NO)
    walk.yes(50_000)
    walk.say(w.CORRECTION)
    assert walk.state.patch_ms == {} and walk.step == "patch"


def test_a_session_that_ended_answers_nothing_but_that_it_ended():
    walk = Walk(walls(look()))
    walk.yes()
    assert walk.state.verdict == "complete" and walk.of(session.VerdictReached)
    state = walk.state
    for word in sorted(w.ALL):
        facts = walk.say(word, after=1_000)
        assert [type(f).__name__ for f in facts] == ["Heard", "NotNow", "LineSpoken"], word
        assert facts[-1].text == "The session has ended."
    assert (walk.state.frames, walk.state.verdict) == (state.frames, "complete")
    for given in (inputs.Tick(), inputs.Recover(5_000), inputs.SignIn("Cy"), inputs.Begin("Bo")):
        assert walk.after(1_000).give(given) == []
