"""How well each of our words fits the phones of an utterance, beside the words and phrases that are like it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

import numpy as np

from assistant.hearing.reading.phone_model import PhoneModel
from assistant.hearing.reading.phone_paths import best_path_log, mean_log_probabilities
from assistant.hearing.vocabulary.lexicon import pronounce
from assistant.hearing.vocabulary.packs import Pack

LEAST = -8.0           # worse than this is no worse
LEAD_MOST = 8.0       # further ahead is no further
# Of words that are none of ours: "computers", "stopped", "cancelling", "helper", "negatively".
ENDINGS = ("Z", "S", "D", "T", "IH NG", "ER", "L IY")


@lru_cache(maxsize=1)
def near_words() -> tuple[str, ...]:
    """Words and phrases near a command, from `measure/near_misses.py`."""
    text = (resources.files("assistant.hearing") / "packs" / "near_en.txt").read_text(encoding="utf-8")
    return tuple(text.split("\n")[:-1])


@dataclass(frozen=True)
class PhoneScores:
    """`log`: of each spoken form, its log probability; `other_log`: of the likeliest phrase that is none of ours;
    `best_log`: of the likeliest phones of all; `counts`: phones of each form."""

    log: dict[str, float]
    other_log: float
    best_log: float
    counts: dict[str, int]

    def fit(self, form: str) -> float:
        """A phone's share of what `form` is behind the likeliest phones: 0 where it fits all through."""
        return max(LEAST, (self.log[form] - self.best_log) / self.counts[form])

    def lead(self, form: str, pack: Pack) -> float:
        """How far ahead of our other words."""
        word = pack.word_of(form)
        others = [log for name, log in self.log.items() if pack.word_of(name) != word]
        return min(LEAD_MOST, self.log[form] - max(others)) if others else LEAD_MOST

    def near(self, form: str) -> float:
        """How far ahead of what sounds like our words and is none."""
        return max(-LEAD_MOST, min(LEAD_MOST, self.log[form] - self.other_log))


class PhoneScorer:
    """Scores utterances against one pack."""

    def __init__(self, model: PhoneModel, pack: Pack, known: dict[str, tuple[str, ...]]) -> None:
        """`known`: the dictionary. Raises ModelError where it lacks a word of a command."""
        self._model = model
        own = [(form, phones) for form in pack.forms for phones in pronounce(form, known, pack.pronunciations)]
        phrases = (*near_words(), *pack.decoys, *(phrase for rivals in pack.rivals.values() for phrase in rivals))
        others = [pronounce(phrase, known, pack.pronunciations, 1)[0] for phrase in dict.fromkeys(phrases)
                  if pack.word_of(phrase) is None and all(word in known for word in phrase.split())]
        others += [f"{phones} {ending}" for form, phones in own if " " not in form for ending in ENDINGS]
        self._forms = [form for form, _ in own]
        self._counts = {form: len(phones.split()) for form, phones in reversed(own)}
        self._sequences = model.sequences([*(phones for _, phones in own), *others])

    def score(self, sound: np.ndarray) -> PhoneScores:
        """`sound`: from `SpeechModel.listen`."""
        logs = self._model.logs(sound)
        found = mean_log_probabilities(logs, self._sequences)
        best: dict[str, float] = {}
        for form, log in zip(self._forms, found, strict=False):
            best[form] = max(float(log), best.get(form, -np.inf))
        others = found[len(self._forms):]
        best_log = float(np.mean([best_path_log(one) for one in logs]))
        return PhoneScores(best, float(others.max()) if len(others) else -np.inf, best_log, self._counts)
