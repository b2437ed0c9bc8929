"""Accept or refuse one utterance, with the reason in plain words. Refuse first."""

from __future__ import annotations

from dataclasses import dataclass

from assistant.hearing.engines.recogniser import Hypothesis
from assistant.hearing.vocabulary.packs import Pack
from assistant.language import vocabulary as words

SHORTEST_S = 0.16          # a knock or a click
LONGEST_COMMAND_S = 2.6    # longer is a sentence and isn't even decoded
SECONDS_PER_LETTER = (0.018, 0.32)   # of a spoken form's length in letters; outside it was something else


@dataclass(frozen=True)
class Bars:
    """How sure the engine must be, 0 to 1. A profile may raise these; it can't lower `confirming`."""

    confirming: float = 0.46
    other: float = 0.32


@dataclass(frozen=True)
class Verdict:
    word: str | None
    accepted: bool
    reason: str


def judge(hypothesis: Hypothesis, pack: Pack, active: frozenset[str], loud_s: float, bars: Bars) -> Verdict:
    """The verdict on a command. `loud_s`: how long the utterance sounded, without the silence around it."""
    if loud_s < SHORTEST_S:
        return Verdict(None, False, "too short for a word")
    if hypothesis.form is None:
        return Verdict(None, False, "not a command" if hypothesis.said else "no word in it")
    word = pack.word_of(hypothesis.form)
    if word is None:
        return Verdict(None, False, "not a command")
    if not hypothesis.agrees:
        return Verdict(None, False, "not sure which word it was")
    letters = sum(3 if ch > "\uac00" else 1 for ch in hypothesis.form if ch != " ")   # a Hangul syllable is about three
    if not letters * SECONDS_PER_LETTER[0] <= loud_s <= max(1.0, letters * SECONDS_PER_LETTER[1]):
        return Verdict(None, False, "too long or too short for that word")
    bar = bars.confirming if word in words.CONFIRMING else bars.other
    if hypothesis.confidence < bar:
        return Verdict(word, False, "not sure enough")
    if word not in active:
        return Verdict(word, False, "not now")
    return Verdict(word, True, "")
