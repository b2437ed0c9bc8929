"""Screens and sounds are read off state and facts: in every mode, in every language, never more than is there."""

from __future__ import annotations

from dataclasses import fields, replace

import pytest

from assistant.language import vocabulary as w
from assistant.session import allowed_words, inputs
from assistant.session.facts import lines
from assistant.session.requests import Chime, Hush, Listen, Manner, Say, listen, requests
from assistant.session.state import FINAL_MODES, State, changed
from assistant.session.timing.ages import LEFT_OUT, key
from assistant.session.view import view
from tests.session.reach import REACH


@pytest.mark.parametrize("mode", REACH)
def test_every_mode_has_a_view_in_plain_words(mode: str):
    walk = REACH[mode]()
    for language in ("en", "ko"):
        seen = view(replace(walk.plan, language=language), walk.state)
        assert seen.mode == mode and seen.mode_text and seen.hands_text
        assert {x.word for x in seen.words} == allowed_words(walk.plan, walk.state)
        assert all(x.said for x in seen.words)
        assert bool(seen.line) and seen.done <= seen.total
        if mode in FINAL_MODES:
            assert not seen.timers and not seen.words and seen.verdict == mode
        else:
            assert {t.id for t in seen.timers if t.kind == "contact"} == set(seen.wet) == set(walk.state.contacts)


def test_timers_tell_when_they_began_end_and_dry():
    walk = REACH["rewet"]()
    timer = next(t for t in view(walk.plan, walk.state).timers if t.id == "ceiling")
    contact = walk.state.contacts["ceiling"]
    assert (timer.started_ms, timer.due_ms, timer.dries_ms) == (
        contact.wet_since_ms, contact.complete_at_ms, contact.dries_at_ms)
    assert timer.rewet_asked and timer.name == "ceiling"


def test_requests_are_what_the_facts_say_in_their_order():
    walk = REACH["rewet"]()
    asked = next(i for i, f in enumerate(walk.facts) if type(f).__name__ == "RewetAsked")
    got = requests(walk.facts[asked: asked + 2])
    assert got[0] == Chime("re_wet") and isinstance(got[1], Say) and got[1].role == lines.WARNING
    facts = walk.say(w.SLOWER, after=100)
    assert [type(r) for r in requests(facts)] == [Manner, Say]
    assert requests(walk.say(w.REPEAT, after=100))[0] == Hush()
    assert Chime("refused") in requests(walk.say(w.RESUME, after=100))
    said = [f.text for f in walk.of(lines.LineSpoken)]
    assert [r.text for r in requests(walk.facts) if isinstance(r, Say)] == said


def test_chimes_are_ones_the_voice_can_sound():
    from assistant.session import requests as module
    from assistant.speaking.chimes import NAMES

    names = {module.COMPLETE, module.REWET, module.WARNING, module.ALARM, module.REFUSED}
    assert names <= set(NAMES) and set(module._CHIMES.values()) <= names


def test_the_listener_listens_for_what_counts():
    walk = REACH["value"]()
    assert listen(walk.plan, walk.state) == Listen(allowed_words(walk.plan, walk.state), "number")
    walk = REACH["rewet"]()
    assert listen(walk.plan, walk.state) == Listen(allowed_words(walk.plan, walk.state) | {w.CONFIRM}, None)
    walk = REACH["complete"]()
    assert listen(walk.plan, walk.state) == Listen(frozenset(), None)


def test_the_key_of_a_state_holds_or_names_every_field():
    from pathlib import Path

    import assistant.session.timing.ages as ages

    source = Path(ages.__file__).read_text(encoding="utf-8")
    for field in fields(State):
        kept = f"state.{field.name}" in source.split("def key", 1)[1]
        assert kept != (field.name in LEFT_OUT) or field.name == "now_ms", field.name
    assert set(LEFT_OUT) <= {f.name for f in fields(State)}


def test_the_same_session_a_day_later_has_the_same_key():
    shift = 86_400_000
    for mode, reach in REACH.items():
        walk = reach()
        one = walk.state
        stamps = {
            f.name: getattr(one, f.name) + shift for f in fields(State)
            if f.name.endswith("_ms") and isinstance(getattr(one, f.name), int) and getattr(one, f.name) >= 0
        }
        contacts = {
            k: replace(c, **{
                f.name: getattr(c, f.name) + shift for f in fields(c)
                if f.name.endswith("_ms") and (getattr(c, f.name) > 0 or f.name in ("wet_since_ms",))
            }) for k, c in one.contacts.items()
        }
        cycles = {k: replace(c, started_ms=c.started_ms + shift, due_ms=c.due_ms + shift) for k, c in one.cycles.items()}
        tables = {n: {k: v + shift for k, v in getattr(one, n).items()}
                  for n in ("opened_ms", "opened_before_ms", "confirmed_ms")}
        just = tuple((s, due + shift) for s, due in one.just_done)
        two = changed(one, **stamps, contacts=contacts, cycles=cycles, just_done=just, **tables)
        assert key(walk.plan, one) == key(walk.plan, two), mode
        assert hash(key(walk.plan, one)) == hash(key(walk.plan, two))


def test_states_that_can_go_on_differently_have_different_keys():
    walk = REACH["rewet"]()
    keys = {key(walk.plan, walk.state)}
    for give in (lambda: walk.say(w.WHERE, after=1_000), lambda: walk.say(w.PAUSE), lambda: walk.say(w.RESUME, after=500),
                 lambda: walk.say(w.REWETTED), lambda: walk.say(w.STARTED), lambda: walk.say(w.CORRECTION, after=1_000)):
        give()
        assert key(walk.plan, walk.state) not in keys
        keys.add(key(walk.plan, walk.state))


def test_what_was_only_talk_leaves_the_key_as_it_was():
    walk = REACH["step"]()
    before = key(walk.plan, walk.state)
    for given in (inputs.Word(w.WHERE), inputs.Word(w.RESUME), inputs.Misheard("noise"), inputs.Word(w.BRIEF)):
        walk.give(given)
    assert key(walk.plan, walk.state) == before
