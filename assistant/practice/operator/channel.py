"""What a listener would make of an utterance, without sound: heard, missed, or taken for another word, by chance."""

from __future__ import annotations

import random
from functools import lru_cache
from typing import Any

from assistant.hearing.values import parsing as values
from assistant.hearing.vocabulary.packs import Pack, load_pack
from assistant.practice.enclosure.disturbances import NOISE_UNHEARD
from assistant.practice.operator.persona import Errors
from assistant.session import inputs

VALUE_SLIP = 4.0  # a spoken number is heard wrongly so many times as often as a word. Common practice, no source.


@lru_cache(maxsize=1)
def english() -> Pack:
    """The packaged English words, read once."""
    return load_pack("en")


class Channel:
    """`errors.unheard` and `errors.misheard` are its only faults. Same seed and utterances, same results."""

    def __init__(self, errors: Errors, seed: int | str, pack: Pack | None = None) -> None:
        self.errors = errors
        self.pack = pack or english()
        self.missed = 0
        self.noisy = False  # a fan louder by 12 dB: see disturbances.NOISE_UNHEARD
        self.confused: list[tuple[str, str]] = []  # (said, taken for)
        self._random = random.Random(f"channel:{seed}")

    def hear(
        self, text: str, start_ms: int, end_ms: int, active: frozenset[str], expects: str | None, spoken_over: bool
    ) -> inputs.Input | None:
        """The input an utterance becomes, or None where the listener noticed nothing."""
        roll = self._random.random()
        if roll < self.errors.unheard + (NOISE_UNHEARD if self.noisy else 0.0):
            self.missed += 1
            return None
        low = text.lower()
        word = self.pack.word_of(low)
        times: dict[str, Any] = {"started_ms": start_ms, "ended_ms": end_ms, "source": "voice", "said": low}
        if spoken_over and word != "stop":
            self.missed += 1
            return inputs.Misheard("the assistant was speaking", word or "", **times)
        if word is None and expects:
            return self._value(low, expects, roll, times)
        if roll > 1.0 - self.errors.misheard and active:
            other = self._random.choice(sorted(active - {word or ""}))
            self.confused.append((word or "", other))
            return inputs.Word(other, **{**times, "said": other})
        if word is None:
            return inputs.Misheard("not a command", **times)
        return inputs.Word(word, **times)

    def _value(self, low: str, expects: str, roll: float, times: dict[str, Any]) -> inputs.Input:
        found = values.parse(expects, low)
        if found is None:
            return inputs.Misheard(f"not a {expects} I could follow", **times)
        text = found.text
        if roll > 1.0 - self.errors.misheard * VALUE_SLIP:
            text = self._slip(text, expects)
            self.confused.append((found.text, text))
        return inputs.Value(text, **times)

    def _slip(self, text: str, expects: str) -> str:
        """One digit heard as another; a date gets another year. A letter said alone is heard as it is."""
        if expects == "date":
            return f"{int(text[:4]) + self._random.choice((-1, 1))}{text[4:8]}01"
        places = [i for i, c in enumerate(text) if c.isdigit()]
        if not places:
            return text
        at = self._random.choice(places)
        digit = self._random.choice([d for d in "0123456789" if d != text[at]])
        return text[:at] + digit + text[at + 1:]
