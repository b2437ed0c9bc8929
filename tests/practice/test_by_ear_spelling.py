"""By ear, a value said sign by sign gets in even where what is said back of it isn't made out."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.language.sentences import SIGNS as SAID_BACK
from assistant.language.sentences import say
from assistant.practice.enclosure.simulated import EnclosureSim
from assistant.practice.operator import understanding as u
from assistant.practice.operator.answering import Answering
from assistant.practice.operator.channel import Channel
from assistant.practice.operator.person import Operator
from assistant.practice.operator.persona import load_persona
from assistant.practice.simulate import Simulation
from assistant.session import inputs
from tests.bench.practice.by_ear import ByEar
from tests.bench.practice.known_lines import SIGNS, Heard, KnownLines, spelled, words_of


class WholeLotsFail(Channel):
    """Takes in every word, and never a lot that is said whole: only signs get through."""

    def hear(self, text, start_ms, end_ms, active, expects, spoken_over):
        given = super().hear(text, start_ms, end_ms, active, expects, spoken_over)
        if isinstance(given, inputs.Value) and expects == "lot" and len(given.value) > 1:
            return inputs.Misheard("not a lot I could follow", started_ms=start_ms, ended_ms=end_ms, source="voice", said=text)
        return given


class DeafTo:
    """An ear that makes out every sentence but those that begin so."""

    def __init__(self, *beginnings):
        self.beginnings, self.lost = beginnings, 0

    def hears(self, text):
        kept = [s for s in text.replace(". ", ".\n").split("\n") if not self._is_lost(s)]
        return Heard(" ".join(kept), len(kept) == text.count(". ") + 1)

    def _is_lost(self, sentence):
        lost = sentence.startswith(self.beginnings) or ("sign" in self.beginnings and sentence.rstrip(".") in SIGNS)
        self.lost += lost
        return lost


@pytest.mark.parametrize("beginnings", [("sign",), ("So far", "sign")])
def test_a_lot_is_spelled_to_its_end_though_what_is_said_back_is_not_heard(plan, beginnings):
    person, world, ear = load_persona("careful"), EnclosureSim(plan, 5), DeafTo(*beginnings)
    operator = Operator(person, world, 5)
    run = Simulation(plan, ByEar(operator, ear), WholeLotsFail(person.errors, 5)).run()
    taken = [fact.value for fact in run.facts if fact.KIND == "value_accepted" and not fact.unit and "-" not in fact.value]
    labels = {world.label(step.agent, plan.today)[0] for step in plan.steps if step.agent}
    assert run.state.verdict == "complete" and any(fact.KIND == "spelling_asked" for fact in run.facts) and ear.lost
    assert taken and set(taken) <= labels


def test_whoever_is_told_the_step_while_spelling_asks_what_stands_so_far(plan):
    world = EnclosureSim(plan, 1)
    operator = Operator(load_persona("careful"), world, 1)
    operator.hear(say("en", "spell_lot"), 1000)
    operator.hear(say("en", "where", step="Read the lot on the decontaminant pack."), 20_000)
    said = []
    for now in range(20_000, 40_000, 100):
        one = operator.next_action(now)
        said += [one.text] if one else []
    assert said[:1] == ["repeat"]


def test_a_prompt_for_the_next_sign_is_no_question_to_be_answered_yes():
    rest = say("en", "spelt", value="kilo 5").split(". ", 1)[1]
    assert u.understand(rest).kind == u.VALUE


def test_who_missed_what_stands_there_goes_on_from_what_they_said(plan):
    answering = Answering(EnclosureSim(plan, 1), {})
    answering.reply(u.Meaning(u.VALUE, "Read the lot on the decontaminant pack. Say the lot.", what="lot"), None, "", False)
    answering._given = "K56"
    ask, rest = say("en", "spell_lot"), say("en", "spelt", value="x").split(". ", 1)[1]
    assert answering.reply(u.understand(ask), None, "", False) == ("value", "", "kilo")
    assert answering.reply(u.understand("kilo."), None, "", False) == ("value", "", "five")
    assert answering.reply(u.understand("kilo."), None, "", False)[0] == "correction"  # said back of the five
    assert answering.reply(u.understand("So far kilo. " + rest), None, "", False) == ("value", "", "five")
    assert answering.reply(u.understand(rest), None, "", False) == ("value", "", "six")  # so the five was taken
    assert answering.reply(u.understand("So far kilo 5. " + rest), None, "", False) == ("value", "", "six")
    assert answering.reply(u.understand("So far kilo kilo. " + rest), None, "", False)[0] == "correction"


@given(st.lists(st.sampled_from([*"0123456789", *"ABCDEFGHIJKLMNOPQRSTUVWYZ"]), min_size=1, max_size=8))
def test_what_is_said_back_of_any_lot_comes_out_of_its_words_again(signs):
    # the words are the session's own (wording.en.SIGNS, ICAO's alphabet) and the voice's; the way back is this room's
    value = " ".join(SAID_BACK["en"].get(sign, sign) for sign in signs)
    line = f"So far {value}."
    assert spelled(words_of(line)) == Heard(line, True)


@pytest.mark.parametrize("heard", ["so far", "so far kilo floor", "floor", "so far date"])
def test_signs_that_were_not_made_out_are_never_guessed(heard):
    assert not KnownLines(("Wipe the left wall.",)).nearest(heard.split()).sure
