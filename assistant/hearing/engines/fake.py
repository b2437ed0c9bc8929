"""An engine for users' tests: it hears what it was told the sound says, and nothing else.

The sound must still be there: the real segmenter cuts it, and each utterance takes the next text in line.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable

from assistant.errors import ModelError
from assistant.hearing.engines.recogniser import Hypothesis
from assistant.hearing.vocabulary.packs import Pack


class FakeEngine:
    """See `recogniser.Engine`. `texts`: what successive utterances say. `knows`: its whole vocabulary, None for all."""

    subtracts_noise = False
    over_speech_bar = 0.0

    def __init__(self, texts: Iterable[str] = (), *, language: str = "en", confidence: float = 0.9,
                 knows: frozenset[str] | None = None) -> None:
        self._texts = deque(texts)
        self._language, self._confidence, self._knows = language, confidence, knows
        self._pack: Pack | None = None
        self.decoded: list[bytes] = []

    def describe(self) -> dict[str, object]:
        return {"engine": "fake", "version": "1", "model": "told", "model_sha256": "0" * 64, "sample_rate_hz": 16_000,
                "language": self._language}

    def load(self, pack: Pack) -> None:
        if pack.language != self._language:
            raise ModelError(f"This fake speaks '{self._language}', the pack '{pack.language}'.")
        for form in pack.forms:
            for word in form.split():
                if self._knows is not None and word not in self._knows:
                    raise ModelError(f"The speech model doesn't know the word '{word}' (in '{form}').",
                                     try_next="choose another word for this command in the language pack")
        self._pack = pack

    def tell(self, *texts: str) -> None:
        """What the next utterances will say."""
        self._texts.extend(texts)

    def decode(self, pcm: bytes, expect: str | None = None, loud_s: float = 0.0, raw: bytes = b"") -> Hypothesis:
        self.decoded.append(pcm)
        text = self._texts.popleft() if self._texts else ""
        form = text if self._pack is not None and self._pack.word_of(text) else None
        return Hypothesis(text, form, self._confidence if text else 0.0, True, "" if form else text, {})

    def close(self) -> None:
        self._texts.clear()
