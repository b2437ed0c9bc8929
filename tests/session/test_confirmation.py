"""Who may confirm what: read back, witness, values, skipping, corrections, keys after misunderstandings."""

from __future__ import annotations

from assistant.language import vocabulary as w
from assistant.procedure.model import plan as p
from assistant.session import allowed_words, inputs
from assistant.session.facts import contacts, lines, machine, session, steps, troubles
from tests.session.reach import PRESET, REACH
from tests.session.rich_plan import rich_plan
from tests.session.small_plan import small_plan
from tests.session.walk import Walk
from tests.session.wall_plan import look, wall, walls


def _walk(step: str, mode: str = "") -> Walk:
    return Walk(rich_plan(), options=PRESET).go(step, mode=mode)


def test_a_read_back_needs_a_second_word_and_what_it_starts_counts_from_that():
    walk = _walk("purge")
    walk.yes()
    assert walk.mode == "read_back" and "the purge is running" in walk.of(lines.LineSpoken)[-1].text
    assert not walk.of(machine.CycleStarted)
    walk.yes(7_000)
    start = walk.of(machine.CycleStarted)[0]
    assert start.started_ms == walk.now and start.due_ms == walk.now + 90_000


def test_a_read_back_answered_no_confirms_nothing():
    for word in (w.NO, w.CORRECTION, w.GO_BACK):
        walk = _walk("purge")
        walk.yes()
        walk.say(word, after=1_000)
        assert walk.mode == "step" and not walk.of(machine.CycleStarted) and walk.of(steps.ClaimDropped)


def test_the_length_of_the_work_counts_to_the_first_word():
    walk = Walk(walls(wall("back", 60_000, 90_000, policy=p.READ_BACK, floor_ms=8_000), look()))
    walk.yes(7_000)
    walk.yes(5_000)
    done = walk.of(steps.StepConfirmed)[0]
    assert (done.took_ms, done.quick, done.claimed_ms) == (7_000, True, 12_000)
    assert walk.state.contacts["back"].complete_at_ms == 72_000


def test_a_witness_is_never_the_technician_nor_a_voice_nor_nobody():
    for mode_step in ("seen", "count"):
        walk = _walk(mode_step, "witness")
        for given in (
            inputs.Witness("Ada", "I saw it"), inputs.Witness(" ADA ", "I saw it"), inputs.Witness("", "I saw it"),
            inputs.Witness("Ben", "  "), inputs.Word(w.CONFIRM, source="voice"), inputs.Word(w.CONFIRM, source="keys"),
            inputs.Word(w.CONFIRM, source="board"),
        ):
            facts = walk.after(500).give(given)
            assert (walk.mode, walk.step) == ("witness", mode_step), given
            assert any(isinstance(f, lines.NotNow) for f in facts), given
        walk.give(inputs.Witness("Ben", "All wipes are there."))
        assert walk.of(steps.WitnessGiven)[-1].statement == "All wipes are there." and walk.step != mode_step


def test_a_witness_nobody_asked_for_is_refused_and_changes_nothing():
    walk = _walk("look")
    facts = walk.after(500).give(inputs.Witness("Ben", "seen"))
    assert [type(f).__name__ for f in facts] == ["NotNow"] and walk.step == "look"


def test_a_witnessed_claim_can_be_taken_back_before_it_is_witnessed():
    walk = _walk("count", "witness")
    walk.say(w.NO)
    assert walk.mode == "step" and walk.step == "count"
    walk = _walk("seen", "witness")
    assert w.NO not in allowed_words(walk.plan, walk.state)


def test_a_value_is_read_back_always_and_taken_only_then():
    walk = _walk("gauge")
    walk.value("-40")
    assert walk.mode == "value_back" and "-4 0 Pa" in walk.of(lines.LineSpoken)[-1].text
    walk.say(w.NO)
    assert walk.mode == "value" and "gauge" not in walk.state.values
    walk.value("-41")
    walk.say(w.CONFIRM, after=1_000)
    assert [f.value for f in walk.of(steps.ValueAccepted) if f.step == "gauge"] == ["-41"]


def test_limits_of_a_reading_hold_at_both_ends_in_exact_decimals():
    for text, inside in (("-60", True), ("-60.0", True), ("-60.01", False), ("-20", True), ("-19.999", False)):
        walk = _walk("gauge")
        walk.value(text)
        walk.yes(1_000)
        assert walk.of(steps.ValueAccepted)[-1].inside_limits is inside, text
        assert bool([f for f in walk.of(troubles.Deviation) if f.code == "reading_outside"]) is not inside


def test_what_cant_be_a_value_is_asked_for_again():
    walk = _walk("gauge")
    for odd in ("", "forty", "NaN", "Infinity", "1" * 41, "--4"):
        walk.value(odd, 500)
        assert walk.mode == "value", odd
    walk = _walk("expiry")
    for odd in ("2027-02-30", "soon", "2027"):
        walk.value(odd, 500)
        assert walk.mode == "value", odd


def test_an_agent_that_has_expired_is_refused_and_one_that_expires_today_is_not():
    for day, taken in (("2026-02-28", False), ("2026-03-01", True)):
        walk = _walk("expiry")
        walk.value(day)
        walk.yes(1_000)
        assert bool([f for f in walk.of(steps.ValueAccepted) if f.step == "expiry"]) is taken
        assert bool([f for f in walk.of(troubles.Deviation) if f.code == "value_refused"]) is not taken


def test_a_reading_that_must_be_put_right_is_asked_for_again_and_one_that_stops_stops():
    for then, mode in (("again", "value"), ("stop", "stopping")):
        step = p.Step("g", p.READING, "Read.", value_kind="number", low="1", high="2", on_outside=then, reach="")
        walk = Walk(walls(step, look()))
        walk.value("3")
        walk.yes(1_000)
        assert walk.mode == mode and [f.code for f in walk.of(troubles.Deviation)] == ["reading_outside"]


def test_a_value_nobody_asked_for_is_refused_aloud():
    walk = _walk("look")
    facts = walk.after(500).give(inputs.Value("12"))
    assert facts[0].reason == "no value was asked for" and facts[1].text == "No value is asked for now."


def test_a_value_begun_before_it_was_asked_for_isnt_taken():
    walk = _walk("fan")
    walk = _walk("expiry")
    at = walk.state.entered_ms
    walk.after(1_000).give(inputs.Value("2027-01-01", at - 1, at + 500))
    assert walk.mode == "value" and walk.of(lines.Heard)[-1].reason == "said before the question"


def test_skipping_asks_back_is_a_deviation_and_ends_incomplete():
    walk = _walk("look")
    walk.say(w.SKIP)
    assert walk.mode == "read_back" and "incomplete" in walk.of(lines.LineSpoken)[-1].text
    walk.yes(1_000)
    assert [f.code for f in walk.of(troubles.Deviation)] == ["skipped"]
    assert walk.finish() == "incomplete"
    assert walk.of(session.VerdictReached)[0].left_open == ("step:look",)


def test_a_step_left_out_of_a_mishap_makes_the_run_incomplete_too():
    walk = _walk("wet-floor")
    walk.say("torn_glove", after=1_000)
    walk.go("torn-wash").say(w.SKIP, after=1_000)
    walk.yes(1_000)
    assert walk.finish() == "incomplete"
    assert walk.of(session.VerdictReached)[0].left_open == ("step:torn-wash",)


def test_waits_and_what_the_next_step_needs_cant_be_skipped():
    for reach in (lambda: _walk("purged", "wait"), lambda: _walk("bridge:wait:back")):
        walk = reach()
        facts = walk.say(w.SKIP, after=500)
        assert "can't be skipped" in facts[-1].text
    plan = small_plan()
    walk = Walk(plan).go("close-outer")
    walk.say(w.SKIP)
    walk.yes(1_000)
    assert walk.step == "bridge:close:outer"
    assert "The next step needs it." in walk.say(w.SKIP, after=500)[-1].text


def test_a_skip_can_be_taken_back_and_the_run_is_complete_again():
    walk = _walk("look")
    walk.say(w.SKIP)
    walk.yes(1_000)
    walk.say(w.CORRECTION, after=1_000)
    assert walk.step == "look" and walk.finish() == "complete"


def test_after_three_misunderstandings_keys_are_offered_then_a_safe_stop_never_a_guess():
    walk = _walk("look")
    for _ in range(7):
        walk.after(1_000).give(inputs.Misheard("unsure", w.CONFIRM))
    assert [(f.misheard, f.stop_offered) for f in walk.of(lines.KeysOffered)] == [(3, False), (6, True)]
    assert walk.step == "look" and walk.mode == "step"
    walk.say(w.WHERE)
    assert walk.state.misheard == 0


def test_a_word_that_was_understood_but_refused_is_no_misunderstanding():
    walk = _walk("look")
    for _ in range(5):
        walk.say(w.RESUME, after=1_000)
    assert walk.state.misheard == 0 and not walk.of(lines.KeysOffered)


def test_a_failed_check_does_what_the_site_wrote():
    for then, mode, current in (("again", "step", "c"), ("deviate", "step", "end"), ("stop", "stopping", "c"),
                                ("mishap:dry", "step", "c")):
        walk = Walk(walls(p.Step("c", p.CHECK, "Is it?", on_no=then, reach=""), look("end")))
        walk.say(w.NO, after=1_000)
        assert (walk.mode, walk.step) == (mode, current), then
        assert [f.yes for f in walk.of(steps.CheckAnswered)] == [False]


def test_correction_takes_back_the_last_confirmation_and_names_what_falls():
    walk = _walk("wet-left")
    assert "back" in walk.state.contacts
    facts = walk.say(w.CORRECTION, after=1_000)
    made = walk.of(steps.CorrectionMade)[0]
    assert (made.step, made.how, made.undone) == ("wet-back", "correction", ("back",))
    assert any("This falls with it: back wall." in f.text for f in facts if isinstance(f, lines.LineSpoken))
    assert "back" not in walk.state.contacts and walk.step == "wet-back"
    assert "soap-back" in walk.state.main.done  # what the surface went through before stands


def test_correcting_a_rewet_voids_the_contact_running_or_complete():
    walk = REACH["rewet"]()
    walk.say(w.REWETTED, after=2_000)
    walk.say(w.CORRECTION, after=1_000)
    assert walk.of(contacts.ContactVoided)[0].surface == "ceiling" and "wet-ceiling" not in walk.state.main.done
    walk = Walk(walls(wall("back", 60_000, 40_000, 10_000), look(), look("more")))
    walk.say(w.CONFIRM, after=5_000)
    while walk.mode != "rewet":
        walk.after(1_000)
    walk.say(w.REWETTED, after=2_000)
    walk.at(66_000)
    assert walk.state.surfaces["back"] == "clean"
    walk.say(w.CORRECTION)
    assert walk.state.surfaces["back"] == "spoiled" and walk.step == "wet-back"


def test_correcting_a_closed_door_opens_it_breaks_its_cycle_and_its_limit_runs_on():
    walk = _walk("purged", "wait")
    opened = walk.state.opened_before_ms["outer"]
    for _ in range(3):  # hands in, purge, then the door
        walk.say(w.CORRECTION, after=1_000)
    assert walk.state.openings["outer"] == "open" and walk.state.opened_ms["outer"] == opened
    assert walk.state.cycles["purge"].status == "broken" and walk.state.hands == "room"
    assert walk.finish() == "complete"


def test_everything_can_be_taken_back_one_by_one_to_the_start():
    walk = _walk("wet-left")
    for _ in range(80):
        if not walk.state.confirmed:
            break
        walk.say(w.CORRECTION, after=200)
        if walk.mode == "value":
            continue
    assert not walk.state.confirmed and walk.step == "lot"
    facts = walk.say(w.CORRECTION, after=200)
    assert facts[-1].text.startswith("Is a patch tested today?")  # then the answer given at the start
    s = walk.state
    assert (s.hands, s.machines, s.openings) == ("room", {"fan": "off"}, {"outer": "closed", "inner": "closed"})


def test_going_back_and_forth_for_ever_keeps_the_state_small():
    walk = _walk("wet-shelf")
    for _ in range(300):
        walk.say(w.GO_BACK, after=1_000)
        walk.yes(1_000)
    assert len(walk.state.confirmed) <= 64 and len(walk.state.hands_before) <= 16


def test_a_branch_step_taken_back_after_the_branch_is_asked_for_again_alone():
    walk = _walk("wet-floor")
    walk.say("wipe_reused", after=1_000)
    walk.yes()
    assert walk.step != "reused-bag" and not walk.state.top.branch
    walk.say(w.CORRECTION, after=1_000)
    assert (walk.state.top.branch, walk.step) == ("reused", "reused-bag")
    assert len([f for f in walk.of(troubles.Deviation) if f.code == "mishap"]) == 1
    assert walk.finish() == "complete"


def test_a_hand_that_was_moved_by_mistake_is_where_it_was_before_branches_included():
    walk = _walk("wet-floor")
    walk.say("torn_glove", after=1_000)
    walk.yes()  # hands out
    walk.yes()  # washed; the branch is over, the hands must go back in
    assert walk.step == "bridge:move:gauntlets"
    walk.yes()
    assert walk.state.hands == "gauntlets"
    walk.say(w.CORRECTION, after=500)
    assert walk.state.hands == "room" and walk.step == "bridge:move:gauntlets"


def test_repeat_says_what_is_open_now_not_what_was_asked_before_an_interruption():
    walk = _walk("wet-left")
    walk.say(w.TROUBLE, after=1_000)
    walk.say(w.CANCEL, after=1_000)
    assert walk.say(w.REPEAT, after=1_000)[-1].text.startswith("Wipe the left.")
    walk = REACH["rewet"]()
    assert "again now" in walk.say(w.REPEAT, after=500)[-1].text
    walk = REACH["which"]()
    assert walk.say(w.REPEAT, after=500)[-1].text.startswith("Which power went?")


def test_brief_wording_shortens_no_caution():
    step = p.Step("s", p.INSTRUCT, "Take the long way round.", brief="Round.", caution="Keep clear.", look_for="Look.",
                  reach="")
    walk = Walk(walls(step, look()))
    assert walk.of(lines.LineSpoken)[-1].text == "Take the long way round. Keep clear. Look. Say affirmative when done."
    walk.say(w.BRIEF)
    assert walk.say(w.REPEAT)[-1].text == "Round. Keep clear."
    walk.say(w.FULL)
    assert walk.say(w.REPEAT)[-1].text.startswith("Take the long way")
