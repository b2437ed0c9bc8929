"""The operator understands what the assistant really says, from the sentence alone."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.hearing.values import parsing as values
from assistant.language.sentences import say
from assistant.practice.enclosure.simulated import EnclosureSim
from assistant.practice.operator import saying
from assistant.practice.operator import understanding as u
from assistant.practice.operator.answering import Answering
from assistant.practice.operator.channel import Channel
from assistant.practice.operator.person import Operator
from assistant.practice.operator.persona import load_persona
from assistant.practice.operator.short_wording import asked_in_short
from assistant.practice.simulate import Simulation
from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import load_procedure, procedure_names
from assistant.session import inputs


@pytest.mark.parametrize(("key", "values_", "kind"), [
    ("option_ask", {"ask": "Do the drugs differ?"}, u.YES_NO), ("read_back", {"claim": "the door is open"}, u.AGREE),
    ("read_back_plain", {}, u.AGREE), ("skip_back", {}, u.AGREE), ("value_back", {"value": "-65 Pa"}, u.VALUE_BACK),
    ("value_again", {}, u.VALUE), ("quick", {"time": "2 seconds"}, u.AGREE), ("paused", {}, u.PAUSED),
    ("rewet", {"name": "back wall"}, u.REWET), ("rewet_first", {"name": "back wall"}, u.REWET),
    ("which_remedy", {"choices": "1: smaller areas. 2: safe stop."}, u.WHICH), ("dried_contact", {"name": "back wall"}, u.DRIED),
    ("dried_wetting", {"name": "back wall"}, u.FROM_START), ("misheard", {}, u.NOT_UNDERSTOOD),
    ("stop_confirm", {}, u.STOPPING), ("complete", {}, u.OVER), ("stopped", {}, u.OVER), ("witness_ask", {}, u.WITNESS),
    ("returned", {"step": "Wipe it."}, u.BACK_TO), ("wait_left", {"time": "1 minute", "names": "purge"}, u.WAIT),
    ("spell_number", {}, u.VALUE), ("spell_lot", {}, u.VALUE), ("spell_date", {}, u.VALUE),
    ("spelt", {"value": "minus 4"}, u.VALUE), ("spelt_odd", {"value": "point"}, u.VALUE), ("value_mend", {}, u.VALUE),
    ("spelt_sign", {"value": "4"}, u.SIGN_BACK), ("spelt_sign", {"value": "x-ray"}, u.SIGN_BACK),
    ("trouble", {"words": "torn glove"}, u.WHAT_HAPPENED), ("ready", {"names": "back wall"}, u.NEWS),
])
def test_the_assistants_own_sentences_are_understood(key, values_, kind):
    assert u.understand(say("en", key, **values_)).kind == kind


def test_who_misses_a_surface_among_the_first_asks_for_more_but_not_for_ever(plan):
    names = [plan.surfaces[s].name for s in ("left_tray", "right_tray", "ceiling")]
    lines = [say("en", "which_more", choices=f"{n}: {name}.") for n, name in enumerate(names, 10)]
    asked = u.understand(lines[0])
    assert (asked.kind, asked.choices, asked.first, asked.more) == (u.WHICH, (names[0],), 10, True)
    answering = Answering(EnclosureSim(plan, 1), {})
    said = [answering.reply(u.understand(line), None, "ceiling", False)[2] for line in lines]
    assert said == ["zero", "zero", "one two"]
    lost = [answering.reply(asked, None, "back_wall", False)[2] for _ in range(12)]
    assert lost[0] == "zero" and "one zero" in lost


def test_the_answer_is_the_word_the_sentence_offers_whatever_it_is():
    found = u.understand("Is it whole? Say affirm for yes, or wrong for no.")
    assert (found.yes, found.no) == ("affirm", "wrong")
    assert u.understand("Open the outer door. Say ready now when done.").yes == "ready now"


def test_every_wiping_sentence_names_its_surface_and_agent(plan):
    names = u.Names(plan)
    wipes = [s for s in plan.steps if s.kind == "wet"]
    assert wipes
    for step in wipes:
        action = names.action(u.understand(f"{step.say} Say affirmative when all of it is wet."))
        assert (action.kind, action.subject, action.agent) == (u.WET, step.surface, step.agent)


@given(st.integers(-9999, 9999), st.integers(0, 99))
def test_a_number_as_said_is_heard_as_that_number(whole, hundredths):
    for text in (str(whole), f"{whole}.{hundredths:02d}"):
        for attempt in (0, 1):
            found = values.parse("number", saying.value_words("number", text, attempt))
            assert found is not None and float(found.text) == float(text)


@given(st.from_regex(r"[A-Z]{1,3}[0-9]{1,5}", fullmatch=True))
def test_a_lot_as_said_is_heard_as_that_lot(code):
    assert values.parse("lot", saying.lot_words(code)).text == code


@given(st.dates(min_value=__import__("datetime").date(2010, 1, 1), max_value=__import__("datetime").date(2098, 12, 31)))
def test_a_date_as_said_is_heard_as_that_date(day):
    if day.year % 100 < 10:
        return
    for with_day in (0, 1):
        assert values.parse("date", saying.value_words("date", day.isoformat(), with_day)).text == day.isoformat()


class BadAtNumbers(Channel):
    """Whole values come out wrong; single signs don't."""

    def _value(self, low, expects, roll, times):
        if not expects.endswith("sign") and self.bad:
            self.bad -= 1
            return inputs.Misheard("not a value I could follow", **times)
        return super()._value(low, expects, roll, times)


def test_a_value_that_fails_whole_is_given_sign_by_sign_by_whoever_is_asked_so(plan):
    person = load_persona("careful")
    channel = BadAtNumbers(person.errors, 1)
    channel.bad = 100
    run = Simulation(plan, Operator(person, EnclosureSim(plan, 1), 1), channel, longest_ms=3_600_000).run()
    spelt = {f.step for f in run.facts if f.KIND == "spelling_asked"}
    taken = {f.step for f in run.facts if f.KIND == "value_accepted"}
    assert spelt and spelt <= taken and run.state.verdict == "complete"


def test_somebody_whose_sign_was_taken_wrongly_finds_out_and_takes_it_back(plan):
    answering = Answering(EnclosureSim(plan, 1), {})
    answering._kind, answering._given = "number", "-8"

    def reply(text):
        return answering.reply(u.understand(text), None, "", False)[::2]

    assert reply("Say one digit at a time. Minus and point count too. Say affirmative at the end.") == ("value", "minus")
    assert reply("0.") == ("correction", "")  # that correction is missed
    assert reply("minus can't stand there. Say it again.") == ("value", "minus")
    assert reply("minus can't stand there. Say it again.") == ("correction", "")
    assert reply("Taken back. So far minus. Say the next one, or affirmative at the end.") == ("value", "eight")
    assert reply("So far 0 3. Say the next one, or affirmative at the end.") == ("correction", "")


@pytest.mark.parametrize("name", procedure_names())
def test_what_each_shipped_step_claims_is_what_the_operator_does_in_either_wording(name):
    # the claim is the site file's own (kind and subject of the step); the sentence is all the operator has
    plan = compile_plan(load_procedure(name))
    names, claimed = u.Names(plan), {"open": u.OPEN, "close": u.CLOSE, "cycle": u.START, "move": u.HANDS, "wet": u.WET}
    steps = [s for s in (*plan.steps, *(s for m in plan.mishaps.values() for s in m.steps)) if s.kind in claimed]
    assert steps
    for step in steps:
        wanted = claimed[step.kind], step.opening or step.cycle or step.hands or step.surface
        told = u.understand(f"{step.say} {say('en', 'say_confirm_wet' if step.kind == 'wet' else 'say_confirm', confirm='affirmative')}")
        short = asked_in_short(u.Meaning(u.NEWS, step.brief or step.say), names, "affirmative", "negative")
        for meaning in (told, short):
            done = names.action(meaning)
            assert (done.kind, done.subject) == wanted, (step.id, meaning)


def test_a_patch_is_wetted_and_then_watched(under_surface):
    names = u.Names(under_surface)
    step = next(s for s in under_surface.steps if s.kind == "patch")
    asked = names.action(u.understand(f"{step.say} {say('en', 'say_confirm_wet', confirm='affirmative')}"))
    assert (asked.kind, asked.subject, asked.agent) == (u.PATCH, step.surface, step.agent)
    assert names.action(u.understand(say("en", "patch_wet", confirm="affirmative"))).kind == u.WATCH


def test_a_remedy_that_didnt_help_isnt_tried_for_ever(plan):
    question = u.understand(say("en", "which_remedy", choices="1: patch test. 2: smaller areas. 3: safe stop."))
    answering = Answering(EnclosureSim(plan, 1), {})
    wipe = u.understand("Wipe the left sump with disinfectant. Say affirmative when all of it is wet.")
    stop = u.understand(say("en", "stop_confirm"))
    said = []
    for _ in range(3):
        said += [answering.reply(question, None, "", False)[2], answering.reply(question, None, "", False)[2]]
        answering.reply(wipe, None, "", False)
    assert said == ["one", "one", "two", "two", "three", "three"]  # asked again at once, it wasn't heard
    assert answering.reply(stop, None, "", False)[0] == "confirm"
    answering.told(say("en", "dries_repeatedly", name=plan.surfaces["ceiling"].name, n="3"))
    assert answering.reply(question, None, "", False)[2] == "one"  # nothing was tried there yet
    assert Answering(EnclosureSim(plan, 1), {}).reply(stop, None, "", False)[0] == "cancel"
