"""While a re-wet is asked for, a word speaks of one thing only: `rewetted` of the surface, `confirm` of neither."""

from __future__ import annotations

from dataclasses import replace

import pytest

from assistant.language import vocabulary as w
from assistant.procedure.model import plan as p
from assistant.session import allowed_words, inputs
from assistant.session.facts import contacts, lines, steps, troubles
from tests.session.invariants import same
from tests.session.small_plan import small_plan
from tests.session.test_every_word import TALK
from tests.session.walk import Walk
from tests.session.wall_plan import look, wall, walls

ASKED = 25_000  # when the back wall is to be wetted again: wet from 0, dry at 40 s, 15 s before


def _rewet(*under: p.Step, voice: bool = False) -> Walk:
    """At `ASKED`, with the re-wet over a look (or over `under`)."""
    walk = Walk(walls(wall("back", 100_000, 40_000, 15_000), *(under or (look(), look("more")))), voice=voice)
    walk.say(w.CONFIRM, after=10_000, source="keys")
    return walk.at(ASKED)


def _confirmed(walk: Walk) -> list[str]:
    return [f.step for f in walk.of(steps.StepConfirmed)]


@pytest.mark.parametrize("source", ["voice", "keys", "pedal"])
@pytest.mark.parametrize("under", [look(), wall("left", 100_000, 300_000, 0), look(policy=p.READ_BACK)])
def test_a_confirmation_counts_for_neither_and_is_told_what_comes_first(under: p.Step, source: str):
    walk = _rewet(under)
    before = walk.state
    facts = walk.say(w.CONFIRM, after=3_000, source=source)
    assert walk.mode == "rewet" and _confirmed(walk) == ["wet-back"] and not walk.of(contacts.RewetConfirmed)
    assert not facts[0].accepted and facts[0].reason == "not now"
    assert facts[-1].text == "Wet the back wall again first. Say all wet again when it is done."
    assert set(same(before, walk.state)) <= TALK


def test_the_word_of_a_rewet_counts_nowhere_else():
    walk = Walk(walls(wall("back", 100_000, 90_000, 15_000), look()))
    walk.say(w.REWETTED, after=10_000)
    assert walk.step == "wet-back" and not walk.state.contacts and not walk.of(lines.Heard)[-1].accepted
    walk = _rewet()
    walk.say(w.REWETTED, after=4_000)
    assert walk.mode == "step" and _confirmed(walk) == ["wet-back"]
    assert [f.claimed_ms for f in walk.of(contacts.RewetConfirmed)] == [29_000]


@pytest.mark.parametrize(("ended", "counts"), [(ASKED - 1, True), (ASKED, False), (ASKED + 1, False)])
@pytest.mark.parametrize("at_once", [True, False])
def test_a_confirmation_that_was_over_before_the_rewet_was_asked_for_is_the_steps(ended, counts, at_once):
    walk = _rewet() if not at_once else Walk(walls(wall("back", 100_000, 40_000, 15_000), look(), look("more")))
    if at_once:  # understood in the very moment that brings the re-wet
        walk.say(w.CONFIRM, after=10_000)
        walk.at(ASKED - 1)
        walk.now = max(ASKED, ended)
    else:
        walk.after(700)
    walk.give(inputs.Word(w.CONFIRM, ended - 300, ended))
    assert _confirmed(walk) == (["wet-back", "look"] if counts else ["wet-back"])
    assert walk.mode == "rewet" and walk.state.rewets == ("back",) and not walk.of(contacts.RewetConfirmed)
    if counts:
        claim = walk.of(steps.StepConfirmed)[-1]
        assert claim.claimed_ms == ended
        assert walk.of(lines.LineSpoken)[-1].text.startswith("Wet the back wall again now.")
        walk.say(w.REWETTED, after=3_000)
        assert walk.step == "more" and walk.mode == "step"
        # Drying is counted from when the re-wet was asked for first, not from when it was asked for again.
        assert walk.state.contacts["back"].dries_at_ms == ASKED + 40_000


def test_a_confirmation_begun_before_its_own_question_is_nobodys():
    walk = Walk(walls(wall("back", 100_000, 40_000, 15_000), look(), look("more")))
    walk.say(w.CONFIRM, after=10_000)
    walk.at(24_900).give(inputs.Word(w.CONFIRM))  # "look"; now "more" is at hand
    walk.at(ASKED + 500).give(inputs.Word(w.CONFIRM, 24_899, 24_950))
    assert _confirmed(walk) == ["wet-back", "look"] and walk.mode == "rewet"


def test_a_voice_heard_before_the_prompt_counts_though_the_prompt_sounds_and_one_over_a_line_never():
    for sounding, counts in ((False, True), (True, False)):
        walk = _walk_with_lines(sounding)
        assert walk.mode == "rewet" and walk.state.open_lines
        walk.after(300).give(inputs.Word(w.CONFIRM, ASKED - 600, ASKED - 100, "voice"))
        assert (_confirmed(walk) == ["wet-back", "look"]) is counts
        # Whatever it was, the prompt that sounds now is heard to its end before a voice counts again.
        walk.after(300).give(inputs.Word(w.REWETTED, ASKED + 350, ASKED + 500, "voice"))
        assert not walk.of(contacts.RewetConfirmed)


def _walk_with_lines(sounding: bool) -> Walk:
    walk = Walk(walls(wall("back", 100_000, 40_000, 15_000), look(), look("more")), voice=True)
    walk.say(w.CONFIRM, after=10_000, source="keys")
    for line in sorted(walk.state.open_lines)[: -1 if sounding else None]:
        walk.give(inputs.LineDone(line, walk.now, walk.now + 10))
    return walk.at(ASKED)


def test_a_read_back_under_a_rewet_takes_its_second_word_only_if_that_was_over_before():
    for ended, counts in ((ASKED - 100, True), (ASKED + 2_000, False)):
        walk = Walk(walls(wall("back", 100_000, 40_000, 15_000), look(policy=p.READ_BACK), look("more")))
        walk.say(w.CONFIRM, after=10_000)
        walk.say(w.CONFIRM, after=10_000)
        assert walk.mode == "read_back"
        walk.at(ASKED + 2_000).give(inputs.Word(w.CONFIRM, ended, ended))
        assert (_confirmed(walk) == ["wet-back", "look"]) is counts and walk.mode == "rewet"
        walk.say(w.REWETTED, after=1_000)
        assert walk.mode == ("step" if counts else "read_back")


def test_a_rewet_out_of_reach_after_the_step_before_it_is_asked_for_anew_or_dries():
    moved = p.Step("out", p.MOVE, "Hands out.", hands=p.ROOM)
    wet = replace(small_plan().steps[6], requires=(), reach=p.GAUNTLETS, contact_ms=100_000, wet_ms=40_000, lead_ms=15_000)
    plan = small_plan(steps=(wet, moved, look()), openings={}, cycles={}, interlocks=(), start_hands=p.GAUNTLETS)
    walk = Walk(plan)
    walk.say(w.CONFIRM, after=10_000)
    asked = walk.state.contacts["back"].rewet_at_ms
    walk.at(asked + 400).give(inputs.Word(w.CONFIRM, asked - 200, asked - 100))
    assert walk.state.hands == p.ROOM and walk.mode == "step" and not walk.state.rewets
    assert walk.of(contacts.RewetResumed)[0].surfaces == ()
    walk.at(41_000)
    assert [f.code for f in walk.of(troubles.Deviation)] == ["dried_contact"]


def test_a_first_stroke_that_could_be_either_surfaces_counts_for_none():
    walk = _rewet(wall("left", 100_000, 300_000, 0))
    assert w.STARTED not in allowed_words(walk.plan, walk.state)
    facts = walk.say(w.STARTED, after=1_000)
    assert "Two surfaces could be meant." in facts[-1].text
    assert walk.state.stroke_ms < 0 and walk.state.contacts["back"].stroke_again_ms < 0
    walk = Walk(walls(wall("back", 100_000, 40_000, 15_000), wall("left", 100_000, 300_000, 0), look()))
    walk.say(w.CONFIRM, after=10_000)
    walk.say(w.STARTED, after=5_000)
    walk.at(ASKED).say(w.STARTED, after=2_000)  # the left wall's is known: it can only be the back wall's
    assert walk.state.contacts["back"].stroke_again_ms == ASKED + 2_000 and walk.state.stroke_ms == 15_000


def test_a_rewet_word_begun_before_it_was_asked_for_is_no_answer():
    walk = _rewet()
    walk.after(500).give(inputs.Word(w.REWETTED, ASKED - 1, ASKED + 400))
    assert not walk.of(contacts.RewetConfirmed) and walk.of(lines.Heard)[-1].reason == "said before the question"
