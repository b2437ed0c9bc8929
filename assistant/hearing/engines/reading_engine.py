"""The embedded English engine: an attention model reads, its sounds are spelled out in phones, PocketSphinx compares.

Three that err differently. The attention model finds what was said, in words or as one of ours; it writes down what
makes sense, so a near word can pass for a command. The phone model, upon the same encoder, knows sounds and no sense.
PocketSphinx, asked only where a command is plausible, says whether it hears the same among thousands of words, and of a
word that confirms whether a rival fits the sound better. A small trained verifier weighs all three.
"""

from __future__ import annotations

import hashlib
import math
from pathlib import Path

import numpy as np

from assistant.hearing.engines.pocketsphinx import SHORTEST_BYTES, PocketsphinxEngine
from assistant.hearing.engines.recogniser import Hypothesis
from assistant.hearing.judging.verifier import load_verifier, reading_features, reading_part
from assistant.hearing.reading.phone_model import PhoneModel, load_phone_model
from assistant.hearing.reading.phone_scores import PhoneScorer, PhoneScores
from assistant.hearing.reading.reading import START, Graph, Reading, Readings, ways_to_write
from assistant.hearing.reading.speech_model import SpeechModel, find, sha256
from assistant.hearing.sound.gain import level_out
from assistant.hearing.values.parsing import parse
from assistant.hearing.values.reader import ValueReader
from assistant.hearing.vocabulary.lexicon import bundled_dictionary_path, dictionary, pronounce
from assistant.hearing.vocabulary.packs import Pack
from assistant.hearing.vocabulary.phones import likeness

CLEARLY = 3.0              # of log probability
LEAST_FIT = -2.5           # a phone, see `PhoneScores.fit`: below this no command is plausible
READING_WEIGHS = 0.25      # beside the phones, in choosing the likeliest of our words: better than either alone at 10 dB
UNREAD_LOG = -25.0         # of a word that was dropped while reading
BEHIND = -2.0              # of log probability, behind a near word: one neither read nor heard; 2 in 1 000 true words are such
ALIKE_UNKNOWN = 0.55       # about the mean of those that are known
LEAD_MOST = 9.0            # further ahead is no further
SENTENCE_BY = 2            # a command with so many words around it in the free text is part of a sentence
VALUE_LEAD = 3.0           # over the next value; with less, of strings by the tuning voices three in four were wrong
OTHER_WORDS = "other words"   # what stands in the record for speech that is no command: its text is nobody's business


class ReadingEngine:
    """See `recogniser.Engine`. 16 kHz."""

    over_speech_bar = 0.0
    subtracts_noise = True

    def __init__(self, compare: PocketsphinxEngine, model: SpeechModel, folder: Path, phones: PhoneModel) -> None:
        """`folder`: the attention model's."""
        self._compare, self._readings, self._folder, self._phones = compare, Readings(model), folder, phones
        self._pieces = model.pieces
        self._known = dictionary(bundled_dictionary_path())
        self._values = ValueReader(self._readings, model.pieces, phones, self._known)
        self._commands: Graph  # these three from `load` on
        self._pack: Pack
        self._scorer: PhoneScorer

    def describe(self) -> dict[str, object]:
        """`model_sha256`: of the three models' hashes, one after the other, as text."""
        about = self._compare.describe()
        all_three = f"{sha256(self._folder)}{about['model_sha256']}{self._phones.sha256}"
        return {**about, "model": f"moonshine tiny-en, phones, {about['model']}",
                "model_sha256": hashlib.sha256(all_three.encode()).hexdigest()}

    def load(self, pack: Pack) -> None:
        self._compare.load(pack)
        graph = Graph(self._pieces)
        for form in (*pack.forms, *(r for phrases in pack.rivals.values() for r in phrases if pack.word_of(r) is None)):
            graph.add(START, form, ways_to_write(form), "said")
        graph.accept("said")
        self._commands, self._pack = graph, pack
        self._scorer = PhoneScorer(self._phones, pack, self._known)

    def decode(self, pcm: bytes, expect: str | None = None, loud_s: float = 0.0, raw: bytes = b"") -> Hypothesis:
        if len(pcm) < SHORTEST_BYTES:
            return Hypothesis("", None, 0.0)
        # As it came: subtraction cost this model 2 of 100 words at 15 dB on the tuning voices.
        sound = self._readings.listen(level_out(raw or pcm))
        reading = self._readings.read(sound, self._commands)
        form, scores = self._likeliest(reading, self._scorer.score(sound))
        confidence = 0.0
        if form is not None:
            scores |= self._compare.compare(pcm, form)
            part = reading_part(form, "rival" in scores)
            found = reading_features(scores, loud_s or len(pcm) / 32_000, self._compare.sounds(form))
            confidence = load_verifier("reading_en", part).confidence(found, form)
        value_text = self._value(sound, pcm, expect) if expect else ""
        return Hypothesis(form or (OTHER_WORDS if reading.text else ""), form, confidence, True, value_text, scores)

    def _likeliest(self, reading: Reading, heard: PhoneScores) -> tuple[str | None, dict[str, float]]:
        """The likeliest of our words where it is plausible at all, and its scores.

        A rival that is likelier doesn't win by that: "all went again" is the better English. How far ahead it is goes
        to the verifier.
        """
        read = {said[0]: log for said, log in reading.log.items()}
        form = max(heard.log, key=lambda f: heard.log[f] + READING_WEIGHS * max(UNREAD_LOG, read.get(f, UNREAD_LOG)))
        word = self._pack.word_of(form)
        log = max(UNREAD_LOG, read.get(form, UNREAD_LOG))
        text = _once(reading.text, form)
        own = [read[f] for f in read if self._pack.word_of(f) not in (None, word)]
        rivals = [read[f] for f in read if self._pack.word_of(f) is None]
        lead, near = (max(-LEAD_MOST, min(LEAD_MOST, log - max(found, default=-math.inf))) for found in (own, rivals))
        scores = {"text_log": reading.text_log, "log": log, "margin": log - reading.text_log, "lead": lead, "near": near,
                  "same": float(text == form), "fit": heard.fit(form), "fit_lead": heard.lead(form, self._pack),
                  "fit_near": heard.near(form), "words_more": float(abs(len(text.split()) - len(form.split()))),
                  **self._alike(text, form)}
        neither = log == UNREAD_LOG and scores["fit_near"] < BEHIND
        plausible = text != "" and scores["fit"] > LEAST_FIT and not neither
        inside = f" {form} " in f" {text} " and scores["words_more"] >= SENTENCE_BY
        # "stopped" isn't "stop": so read, it is none, unless its phones are clearly without the ending.
        inflected = " " not in text + form and text.startswith(form) and text != form and scores["fit_near"] < CLEARLY
        return (form if plausible and not inside and not inflected else None), scores

    def _alike(self, text: str, form: str) -> dict[str, float]:
        """How alike the free text and our word sound, 0 to 1 (see `phones.likeness`); `unknown` where a word of the text
        is in no dictionary, as the model spells what it doesn't know."""
        sounds = [self._known.get(w) or self._known.get(w.removesuffix("'s")) or () for w in text.split()]
        if not all(sounds):
            return {"alike": ALIKE_UNKNOWN, "unknown": 1.0}
        ours = pronounce(form, self._known, self._pack.pronunciations)[0]
        return {"alike": likeness(ours, " ".join(phones[0] for phones in sounds)), "unknown": 0.0}

    def _value(self, sound: np.ndarray, pcm: bytes, expect: str) -> str:
        """The words of the value where they are well ahead of any other, or PocketSphinx hears the same value; else ""."""
        found = self._values.likeliest(sound, expect)
        if found is None or found.lead >= VALUE_LEAD:
            return "" if found is None else found.words
        heard = parse(expect, self._compare.value(pcm, expect))
        return found.words if heard is not None and heard.text == found.text else ""

    def close(self) -> None:
        self._compare.close()


def _once(text: str, form: str) -> str:
    """`form` where the text is nothing but that, over and over: in noise the model now and then goes round in circles.
    What was really said twice fits the phones of the word said once badly."""
    times = len(text.split()) // len(form.split())
    return form if times and text == " ".join([form] * times) else text


def open_reading_engine(phones: PhoneModel | None = None) -> ReadingEngine | None:
    """`phones`: another than the packaged model. None where the attention model isn't installed (systems its package has
    no build for). Raises ModelError."""
    folder = find()
    if folder is None:
        return None
    return ReadingEngine(PocketsphinxEngine(), SpeechModel(folder), folder, phones or load_phone_model("en"))
