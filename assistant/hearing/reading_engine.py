"""The embedded English engine: an attention model reads, PocketSphinx compares.

Two models that err differently. The attention model finds what was said, in words or as one of ours; it writes down
what makes sense, so a near word can pass for a command. PocketSphinx, asked only where a command is plausible, says
whether it hears the same among thousands of words, and of a word that confirms whether a rival fits the sound better.
A small trained verifier weighs both.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np

from .gain import level_out
from .lexicon import bundled_dictionary_path, dictionary, pronounce
from .packs import Pack
from .phones import likeness
from .pocketsphinx_engine import SHORTEST_BYTES, PocketsphinxEngine
from .reading import START, Graph, Reading, Readings, ways_to_write
from .recogniser import Hypothesis
from .speech_model import SpeechModel, find, sha256
from .value_graph import value_graphs
from .values import parse
from .verifier import load_verifier, reading_features

LEAST_LOG = -13.0          # below these two no command is plausible: of true ones on the tuning voices 3 in 1 000 were
LEAST_MARGIN = -9.0
ALIKE_UNKNOWN = 0.55       # about the mean of those that are known
LEAD_MOST = 9.0            # further ahead is no further
UNREAD_LOG = -1.5          # a free text less likely than this is a guess
ALONE_LEAST = 0.7          # how sure PocketSphinx must be to be believed alone
SENTENCE_BY = 2            # a command with so many words around it in the free text is part of a sentence
VALUE_LEAD = 1.5           # of log probability over the next value: with less, the reading alone isn't enough
VALUE_MARGIN = -9.0        # under the free text
OTHER_WORDS = "other words"   # what stands in the record for speech that is no command: its text is nobody's business


class ReadingEngine:
    """See `recogniser.Engine`. 16 kHz."""

    over_speech_bar = 0.0
    subtracts_noise = True

    def __init__(self, compare: PocketsphinxEngine, model: SpeechModel, folder: Path) -> None:
        """`folder`: the attention model's."""
        self._compare, self._readings, self._folder = compare, Readings(model), folder
        self._pieces = model.pieces
        self._values = value_graphs(model.pieces)
        self._known = dictionary(bundled_dictionary_path())
        self._commands: Graph | None = None
        self._pack: Pack | None = None

    def describe(self) -> dict[str, object]:
        """`model_sha256`: of the two models' hashes, one after the other, as text."""
        about = self._compare.describe()
        both = f"{sha256(self._folder)}{about['model_sha256']}"
        return {**about, "model": f"moonshine tiny-en, {about['model']}",
                "model_sha256": hashlib.sha256(both.encode()).hexdigest()}

    def load(self, pack: Pack) -> None:
        self._compare.load(pack)
        graph = Graph(self._pieces)
        for form in (*pack.forms, *(r for phrases in pack.rivals.values() for r in phrases if pack.word_of(r) is None)):
            graph.add(START, form, ways_to_write(form), "said")
        graph.accept("said")
        self._commands, self._pack = graph, pack

    def decode(self, pcm: bytes, expect: str | None = None, loud_s: float = 0.0, raw: bytes = b"") -> Hypothesis:
        if len(pcm) < SHORTEST_BYTES:
            return Hypothesis("", None, 0.0)
        # As it came: subtraction cost this model 2 of 100 words at 15 dB on the tuning voices.
        sound = self._readings.listen(level_out(raw or pcm))
        reading = self._readings.read(sound, self._commands)
        form, scores = self._likeliest(reading)
        confidence = 0.0
        if form is None and reading.text and reading.text_log < UNREAD_LOG:
            form, confidence = self._heard_alone(pcm, loud_s, scores)
        elif form is not None:
            scores |= self._compare.compare(pcm, form)
            part = "confirming" if "rival" in scores else "other"
            found = reading_features(scores, loud_s or len(pcm) / 32_000, self._compare.sounds(form))
            confidence = load_verifier("reading_en", part).confidence(found, form)
        value_text = self._value(sound, pcm, expect) if expect else ""
        return Hypothesis(form or (OTHER_WORDS if reading.text else ""), form, confidence, True, value_text, scores)

    def _likeliest(self, reading: Reading) -> tuple[str | None, dict[str, float]]:
        """The likeliest of our words where it is plausible at all, and its scores.

        A rival that is likelier doesn't win by that: "all went again" is the better English. How far ahead it is goes
        to the verifier.
        """
        ranked = sorted(((log, *said) for said, log in reading.log.items()), reverse=True)
        ours = [(log, form) for log, form in ranked if self._pack.word_of(form) is not None]
        scores = {"text_log": reading.text_log}
        if not ours:
            return None, scores
        log, form = ours[0]
        word = self._pack.word_of(form)
        lead = next((log - other for other, name in ours[1:] if self._pack.word_of(name) != word), LEAD_MOST)
        near = next((log - other for other, name in ranked if self._pack.word_of(name) is None), LEAD_MOST)
        scores |= {"log": log, "margin": log - reading.text_log, "lead": min(lead, LEAD_MOST), "near": min(near, LEAD_MOST),
                   "same": float(reading.text == form),
                   "words_more": float(abs(len(reading.text.split()) - len(form.split()))), **self._alike(reading.text, form)}
        plausible = reading.text and log > LEAST_LOG and scores["margin"] > LEAST_MARGIN
        inside = f" {form} " in f" {reading.text} " and scores["words_more"] >= SENTENCE_BY
        # "stopped" isn't "stop". Of 1 195 commands by the tuning voices none was read so; near words in the plural are.
        inflected = " " not in reading.text + form and reading.text.startswith(form) and reading.text != form
        return (form if plausible and not inside and not inflected else None), scores

    def _heard_alone(self, pcm: bytes, loud_s: float, scores: dict[str, float]) -> tuple[str | None, float]:
        """What PocketSphinx alone makes of a sound that couldn't be read, and how sure it is; never a word that confirms.

        Some voices say a word so that the reading model has no idea of it. With the bar this high it gave back 14 of 52 such
        commands on the tuning voices, for 2 near misses in 255 and one command in 1 242 taken for another.
        """
        heard = self._compare.decode(pcm, None, loud_s)
        sure = heard.form is not None and heard.agrees and heard.confidence >= ALONE_LEAST
        if not sure or self._pack.word_of(heard.form) in self._pack.rivals:
            return None, 0.0
        scores |= heard.scores | {"heard_alone": 1.0}
        return heard.form, heard.confidence

    def _alike(self, text: str, form: str) -> dict[str, float]:
        """How alike the free text and our word sound, 0 to 1 (see `phones.likeness`); `unknown` where a word of the text
        is in no dictionary, as the model spells what it doesn't know."""
        sounds = [self._known.get(w) or self._known.get(w.removesuffix("'s")) for w in text.split()]
        if not all(sounds):
            return {"alike": ALIKE_UNKNOWN, "unknown": 1.0}
        ours = pronounce(form, self._known, self._pack.pronunciations)[0]
        return {"alike": likeness(ours, " ".join(phones[0] for phones in sounds)), "unknown": 0.0}

    def _value(self, sound: np.ndarray, pcm: bytes, expect: str) -> str:
        """The words of the value: what both hear; else what the reading is sure of; else what PocketSphinx hears.

        Of 192 numbers and lots by the tuning voices, clean and at 15 dB, all 90 that both heard alike were right. A lot
        at 15 dB that is read with too little lead is heard rightly by PocketSphinx about every second time: worth a
        read back, which costs one turn, where asking again costs as much.
        """
        reading = self._readings.read(sound, self._values[expect])
        logs: dict[str, float] = {}
        texts: dict[str, str] = {}
        for said, log in sorted(reading.log.items(), key=lambda pair: -pair[1]):
            value = parse(expect, " ".join(said))
            if value is not None:
                texts.setdefault(value.text, " ".join(said))
                logs[value.text] = float(np.logaddexp(logs[value.text], log)) if value.text in logs else log
        ranked = sorted(((log, text) for text, log in logs.items()), reverse=True)
        if not ranked or ranked[0][0] - reading.text_log < VALUE_MARGIN:
            return ""
        log, text = ranked[0]
        if len(ranked) == 1 or log - ranked[1][0] >= VALUE_LEAD:
            return texts[text]
        heard_words = self._compare.value(pcm, expect)
        heard = parse(expect, heard_words)
        if heard is not None and heard.text == text:
            return texts[text]
        return heard_words if heard is not None and not expect.endswith("sign") else ""

    def close(self) -> None:
        self._compare.close()


def open_reading_engine() -> ReadingEngine | None:
    """None where the attention model isn't installed (systems its package has no build for). Raises ModelError."""
    folder = find()
    return None if folder is None else ReadingEngine(PocketsphinxEngine(), SpeechModel(folder), folder)
