"""Accept or refuse, row by row."""

from __future__ import annotations

import pytest

from assistant.hearing.engines.recogniser import Hypothesis
from assistant.hearing.judging.judge import Bars, judge
from assistant.hearing.vocabulary.packs import load_pack

PACK = load_pack("en")
SURE = {"confidence": 0.99}


@pytest.mark.parametrize(("hypothesis", "active", "loud_s", "word", "reason"), [
    (Hypothesis("repeat", "repeat", **SURE), {"repeat"}, 0.5, "repeat", ""),
    (Hypothesis("repeat", "repeat", **SURE), {"stop"}, 0.5, "repeat", "not now"),
    (Hypothesis("repeat", "repeat", **SURE), {"repeat"}, 0.1, None, "too short for a word"),
    (Hypothesis("repeat", "repeat", **SURE), {"repeat"}, 2.4, None, "too long or too short for that word"),
    (Hypothesis("i got that wrong", "i got that wrong", **SURE), {"correction"}, 0.2, None, "too long or too short for that word"),
    (Hypothesis("please repeat", None, 0.9), {"repeat"}, 0.9, None, "not a command"),
    (Hypothesis("", None, 0.0), {"repeat"}, 0.9, None, "no word in it"),
    (Hypothesis("repeat", "repeat", 0.99, agrees=False), {"repeat"}, 0.5, None, "not sure which word it was"),
    (Hypothesis("gone", "gone", **SURE), {"repeat"}, 0.5, None, "not a command"),
], ids=["heard", "not now", "knock", "drawn out", "too quick", "inside a sentence", "nothing", "disagreement", "foreign form"])
def test_verdicts(hypothesis, active, loud_s, word, reason):
    verdict = judge(hypothesis, PACK, frozenset(active), loud_s, Bars())
    assert (verdict.word, verdict.accepted, verdict.reason) == (word, reason == "", reason)


def test_a_word_that_confirms_is_held_to_the_higher_bar():
    bars = Bars(confirming=0.8, other=0.4)
    every = frozenset({"confirm", "repeat"})
    assert judge(Hypothesis("repeat", "repeat", 0.6), PACK, every, 0.5, bars).accepted
    assert judge(Hypothesis("affirmative", "affirmative", 0.6), PACK, every, 0.5, bars).reason == "not sure enough"
    assert Bars().confirming >= Bars().other
