"""After a crash, power cut or suspend: nothing that needed watching counts, nothing confirmed aloud is lost."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from assistant.language import vocabulary as w
from assistant.procedure.model import plan as p
from assistant.session import evolve, inputs, next_deadline_ms
from assistant.session.facts import contacts, lines, machine, steps, troubles
from assistant.session.state import FINAL_MODES, State
from tests.session.reach import PRESET, REACH
from tests.session.rich_plan import rich_plan
from tests.session.walk import Walk
from tests.session.wall_plan import look, wall, walls

OPEN = [mode for mode in REACH if mode not in FINAL_MODES]


def _crash(walk: Walk, gone_ms: int = 60_000, why: str = "crash") -> Walk:
    walk.now += gone_ms  # no tick in between: nobody watched
    walk.give(inputs.Recover(gone_ms, why))
    return walk


def _walk(step: str, mode: str = "") -> Walk:
    return Walk(rich_plan(), options=PRESET).go(step, mode=mode)


def test_nothing_completes_in_time_that_nobody_watched():
    walk = _walk("wet-floor")
    wet = set(walk.state.contacts)
    assert wet
    _crash(walk, 600_000)
    assert not [f for f in walk.of(contacts.ContactCompleted) if f.at_ms == walk.now]
    assert {f.surface for f in walk.of(contacts.ContactVoided)} == wet
    owed = {f.step for f in walk.of(steps.StepOwed)}
    assert {f"wet-{s}" for s in wet} == owed
    walk = _crash(_walk("purged", "wait"), 600_000)
    assert not walk.of(machine.CycleCompleted) and walk.of(machine.CycleBroken)


def test_it_says_how_long_nobody_watched_and_what_starts_again():
    walk = _crash(_walk("wet-floor"), 61_500)
    assert walk.of(troubles.Deviation)[-1].code == "unwatched"
    text = walk.of(troubles.Deviation)[-1].text
    assert text.startswith("I was off for 1 minute 2 seconds. Nobody watched.") and "starts again" in text


def test_it_asks_about_every_opening_the_hands_and_the_last_confirmation_that_stands():
    walk = _crash(_walk("wet-floor"))
    assert walk.state.questions == ("opening:outer", "opening:inner", "hands:gauntlets", "last:soap-back")
    said = walk.of(lines.LineSpoken)[-1].text
    assert said == "Is the outer door closed? Say affirmative or negative."


def _torn_after_each_fact(walk: Walk, before: State, facts: list) -> Iterator[tuple[str, Walk]]:
    """The session gone on with after a crash that let only the first so many facts of a decision reach the disk."""
    for cut in range(1, len(facts)):
        torn = Walk(walk.plan, options=PRESET, watch=False)
        torn.now, torn.state = walk.now, before
        for fact in facts[:cut]:
            torn.state = evolve(torn.state, fact)
        _crash(torn)
        while torn.mode == "recover":
            torn.cooperate()
        yield f"torn after {facts[cut - 1].KIND}", torn


def test_a_drying_torn_in_two_is_owed_again_wherever_it_was_torn():
    walk = _walk("wet-floor")
    whole = set(walk.state.main.done)
    dries = min(c.dries_at_ms for c in walk.state.contacts.values())
    while walk.now < dries:  # a tick at a time, so that the last one is the drying's own decision
        before = walk.state
        walk.now = max(walk.now, next_deadline_ms(walk.plan, walk.state))
        facts = walk.give(inputs.Tick())
    kinds = [type(f) for f in facts]
    assert contacts.SurfaceDried in kinds and contacts.ContactVoided in kinds and steps.StepOwed in kinds
    owed = whole - set(walk.state.main.done)
    for where, torn in _torn_after_each_fact(walk, before, facts):
        assert not owed & set(torn.state.main.done), where
        assert torn.finish() == "complete", where


def test_a_confirmation_torn_from_its_contact_is_owed_again():
    walk = _walk("wet-ceiling").after(5_000)
    before = walk.state
    facts = walk.give(inputs.Word(w.CONFIRM, walk.now, walk.now))
    kinds = [type(f) for f in facts]
    assert kinds.index(contacts.ContactStarted) > kinds.index(steps.StepConfirmed)
    for where, torn in _torn_after_each_fact(walk, before, facts):
        assert "wet-ceiling" not in torn.state.main.done, where
        assert torn.finish() == "complete", where


def test_every_decision_of_a_clean_may_be_torn_anywhere_and_the_clean_still_be_finished():
    walk = Walk(rich_plan(), options=PRESET)
    log = []
    give = walk.give

    def noted(given):
        before, facts = walk.state, give(given)
        log.append((before, walk.now, facts))
        return facts

    walk.give = noted
    assert walk.finish() == "complete" and log
    for before, now, facts in log:
        walk.now = now
        for where, torn in _torn_after_each_fact(walk, before, facts):
            assert torn.state.verdict == "complete" or torn.finish() == "complete", (where, now)


@pytest.mark.parametrize("mode", OPEN)
@pytest.mark.parametrize("why", ["crash", "suspend"])
def test_from_every_mode_the_clean_can_be_finished_after_a_break(mode: str, why: str):
    walk = REACH[mode]()
    before = set(walk.state.main.done)
    wet = {c.step for c in walk.state.contacts.values()}
    _crash(walk, 5_000, why)
    assert walk.mode == "recover"
    lost = before - set(walk.state.main.done)
    assert lost <= wet | {"purge", "purged"}, "something confirmed aloud is lost"
    while walk.mode == "recover":
        walk.cooperate()
    if mode == "stopping":
        assert walk.mode == "stopping"
        return
    assert walk.finish() == "complete"


@pytest.mark.parametrize("gap", range(1, 60, 3))
def test_breaks_at_any_moment_again_and_again_still_come_to_the_end(gap: int):
    walk = Walk(rich_plan(), options=PRESET)
    for n in range(800):
        if walk.state.verdict:
            break
        walk.cooperate()
        if n % 60 == gap and n < 300 and not walk.state.verdict:
            _crash(walk, gap * 1_000)
    assert walk.state.verdict == "complete"


def test_an_opening_found_otherwise_counts_as_found():
    walk = _crash(_walk("wet-floor"))
    walk.yes()
    walk.say(w.NO, after=1_000)  # the inner door isn't open
    assert walk.state.openings["inner"] == "closed"
    while walk.mode == "recover":
        walk.yes()
    assert walk.finish() == "complete"


def test_two_interlocked_doors_found_open_are_said_and_one_is_shut_first():
    walk = _crash(_walk("wet-floor"))
    walk.say(w.NO, after=1_000)  # the outer door isn't closed
    assert [f.code for f in walk.of(troubles.Deviation)][-1] == "two_open"
    while walk.mode == "recover":
        walk.yes()
    assert walk.step in ("bridge:move:room", "bridge:close:outer")
    assert walk.finish() == "complete"


def test_hands_found_elsewhere_are_believed():
    walk = _crash(_walk("wet-floor"))
    walk.yes()
    walk.yes()
    walk.say(w.NO, after=1_000)
    assert walk.state.hands == "room"


def test_the_last_confirmation_denied_is_taken_back():
    walk = _crash(_walk("seen", "witness"))
    assert walk.state.questions[-1] == "last:look"
    for _ in range(3):
        walk.yes()
    walk.say(w.NO, after=1_000)
    assert walk.step == "look" and walk.of(steps.CorrectionMade)[0].step == "look"


def test_a_finished_cycle_is_redone_only_where_something_still_needs_it():
    walk = _crash(_walk("wet-floor"))
    assert walk.state.cycles["purge"].status == "broken" and "purge" in walk.state.main.done
    walk = _crash(_walk("open-inner"))
    while walk.mode == "recover":
        walk.yes()
    while walk.step != "open-inner":
        walk.cooperate()
    assert len(walk.of(machine.CycleStarted)) == 2


def test_a_mishap_between_the_questions_comes_first_and_the_questions_go_on():
    walk = _crash(_walk("wet-floor"))
    walk.yes()
    left = walk.state.questions
    walk.say("torn_glove", after=1_000)
    assert walk.state.top.branch == "torn"
    while walk.state.top.branch:
        walk.cooperate()
    assert walk.mode == "recover" and walk.state.questions == left


def test_a_word_begun_before_the_break_answers_nothing_after_it():
    walk = _crash(_walk("open-outer"))
    walk.after(500).give(inputs.Word(w.CONFIRM, walk.now - 600, walk.now - 100))
    assert len(walk.state.questions) == 4
    walk.give(inputs.Recover(1_000))
    walk.after(500).give(inputs.Word(w.CONFIRM, walk.now - 600, walk.now - 100))
    assert len(walk.state.questions) == 4


def test_a_break_in_the_middle_of_a_mishap_comes_back_to_it():
    walk = _walk("wet-floor")
    walk.say("torn_glove", after=1_000)
    walk.yes()
    _crash(walk)
    assert [f.branch for f in walk.state.frames] == ["", "torn"]
    while walk.mode == "recover":
        walk.yes()
    assert walk.step == "torn-wash" and walk.finish() == "complete"


def test_limits_go_on_while_nobody_watched_and_are_said_after():
    walk = _walk("wet-shelf")
    _crash(walk, 600_000)
    assert "limit_opening_missed" in [f.code for f in walk.of(troubles.Deviation)]
    assert next_deadline_ms(walk.plan, walk.state) is None or next_deadline_ms(walk.plan, walk.state) > walk.now


def test_a_last_confirmation_that_a_mishap_undid_between_the_questions_isnt_undone_twice():
    plan = walls(wall("back", 60_000, 200_000), look(), mishaps={
        "alarm": p.Mishap("alarm", "pressure_alarm", "alarm", (), (p.Spoil(p.SPOIL_ALL),))})
    walk = Walk(plan).go("look")
    walk.at(70_000)  # the wall is finished; its confirmation stands
    _crash(walk)
    assert walk.state.questions[-1] == "last:wet-back"
    walk.say("pressure_alarm", after=1_000)
    while walk.state.questions[0] != "last:wet-back":
        walk.yes()
    walk.say(w.NO, after=1_000)
    assert walk.mode == "step" and walk.step == "wet-back" and walk.finish() == "complete"
