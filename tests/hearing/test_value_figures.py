"""What the dialogue of a value counts: told answers in, known figures out."""

from __future__ import annotations

import pytest

from assistant.hearing.engines.fake import FakeEngine
from assistant.hearing.listener import Listener
from assistant.hearing.vocabulary.packs import load_pack
from assistant.language import vocabulary as words
from tests.bench.hearing import value_figures as bench

VOICE = "espeak:en-us+m3:40:150"
PACK = load_pack("en")
YES, NO, BACK = (PACK.say[w][0] for w in (words.CONFIRM, words.NO, words.CORRECTION))


def talked(*heard: str, kind: str = "number", text: str = "42"):
    """The dialogue over `text`, where each thing said in turn is heard as `heard`."""
    engine = FakeEngine(heard)
    listener = Listener(engine, PACK)
    return bench._dialogue(bench._Talk(listener, VOICE, None, 1), kind, text)


@pytest.mark.parametrize(("heard", "accepted", "turns"), [
    (("four two", YES), "42", 2),
    (("four two", "", YES), "42", 3),                                   # the answer wasn't heard once
    (("four three", NO, "four two", YES), "42", 4),
    (("", "four two", YES), "42", 3),
    (("four three", YES), "43", 2),                                     # a no that was heard as a yes: what must never be
    (("", "", "four", "two", YES), "42", 5),                            # sign by sign after two strings
    (("", "", "five", BACK, "four", "two", YES), "42", 7),
    (("", "", "", "", "", "", "", ""), None, 8),                        # three tries of a sign, two rounds, then the keys
])
def test_turns_and_what_is_accepted(heard, accepted, turns):
    done = talked(*heard)
    assert (done.accepted, done.turns) == (accepted, turns)
    assert done.wrong == (accepted == "43")
    assert done.first_right == (heard[0] == "four two")


def test_a_value_that_went_to_the_keys_is_longer_than_any_other_in_the_median():
    keys, quick = talked(*[""] * 8), talked("four two", YES)
    assert bench._median([keys.turns_or_keys, quick.turns_or_keys, quick.turns_or_keys]) == 2
    assert bench._median([keys.turns_or_keys, keys.turns_or_keys, quick.turns_or_keys]) is None
    assert bench._median([]) is None


def test_answers_and_wrong_read_backs_are_counted():
    done = talked("four three", "", NO, "four two", YES)
    assert (done.answered, done.read_back, done.read_back_wrong) == ((2, 3), 2, 1)


def test_the_figures_name_every_cell_and_bound_the_wrong_ones(monkeypatch):
    def make():
        return Listener(FakeEngine(), PACK)

    monkeypatch.setattr(bench, "_dialogue", lambda talk, kind, text: bench._Done(text, text + "1", 2, True, (1, 1), 1, 0))
    found = bench.value_figures(make, (VOICE,), 8, lambda text: None)
    assert found["wrong_accepted_after_read_back"] == {"hits": 8, "trials": 8, "share": 1.0, "upper_95": 1.0}
    assert {"number, clean", "lot, clean", "number, 15 dB", "lot, 15 dB"} <= set(found)
    assert found["median_turns, clean"] == found["median_turns, 15 dB"] == 2
