"""The judge's part for words: was it said, was it said in time, and why was a claim believed that wasn't so."""

from __future__ import annotations

from typing import Any

from assistant.hearing.vocabulary.packs import load_pack
from assistant.practice.operator import understanding as u
from assistant.practice.operator.mind import Said
from assistant.practice.oracle.case import Case
from assistant.practice.oracle.ledger import ENGINE, FALSE_CLAIM, HEARING, MISPLACED
from assistant.procedure.model.plan import WET, Step

_LAPSE_MS = 180_000  # so long after a lapse the operator may still be a step behind
_OWN_FORM = {word: load_pack("en").say[word] for word in ("confirm", "no", "rewetted")}
_NEAR_MS = 1500  # an utterance and the fact that dates it are never further apart than this


class WordsJudge:
    """`said`, `confusions`, `lapses`: the lists that operator and listener go on adding to."""

    def __init__(
        self, case: Case, said: list[Said], confusions: list[tuple[str, str]], lapses: list[tuple[int, str]],
    ) -> None:
        self._case = case
        self._said, self._confusions, self._lapses = said, confusions, lapses
        self._words: list[tuple[str, int]] = []  # delivered to the core: (word, end)

    def given(self, given: Any) -> None:
        """An input handed to the core."""
        word = getattr(given, "word", "")
        if word and not hasattr(given, "reason"):
            self._words.append((word, given.ended_ms if given.ended_ms is not None else -1))

    def on_heard(self, fact: Any) -> None:
        if not fact.accepted:
            return
        case, ledger = self._case, self._case.ledger
        if fact.word and not any(word == fact.word and end in (fact.ended_ms, -1) for word, end in self._words[-4:]):
            case.add(fact.at_ms, ENGINE, f"'{fact.word}' was believed though no such word was handed over")
        if fact.word in ("confirm", "no", "started", "rewetted"):
            begun = ledger.started.get(ledger.current, 0)
            if fact.word == "confirm":
                ledger.yes_ends.append(fact.ended_ms)
            if fact.started_ms < begun and ledger.current in case.steps:
                case.add(fact.at_ms, ENGINE, f"'{fact.word}' began before the question it answered")

    def utterance(self, end_ms: int) -> Said | None:
        """What was said that ended about then."""
        near = [s for s in self._said if abs(s.end_ms - end_ms) <= _NEAR_MS]
        return min(near, key=lambda s: abs(s.end_ms - end_ms), default=None)

    def why(self, step: Step, action: u.Action, fact: Any) -> str:
        """The class of a confirmation that isn't true."""
        spoken = self.utterance(fact.claimed_ms)
        if spoken is None:
            return ENGINE if not self._confusions else HEARING
        if spoken.meant != "confirm":
            return HEARING if spoken.meant != "rewetted" else self.apart(fact.at_ms)
        about = spoken.action
        if about is not None and (about.kind, about.subject) == (action.kind, action.subject):
            return FALSE_CLAIM
        if about is not None and about.kind == u.WET and step.kind == WET:
            return FALSE_CLAIM  # another surface was wiped than the one asked for
        return self.apart(fact.at_ms)

    def apart(self, at_ms: int) -> str:
        """Why operator and core speak of different things."""
        if self._confusions or self._other_words():
            return HEARING
        return MISPLACED if any(0 <= at_ms - at <= _LAPSE_MS for at, _ in self._lapses) else ENGINE

    def _other_words(self) -> bool:
        """The operator has said a word it didn't mean: from then on the two may speak of different things."""
        return any(s.meant in _OWN_FORM and s.text not in _OWN_FORM[s.meant] for s in self._said)
