"""Chance in a virtual operator: one seeded source, and a note of each of the persona's errors that happens."""

from __future__ import annotations

import random

from assistant.practice.operator.persona import Persona


class Lapses:
    """`happened`: (when, which of the persona's errors), known to the judge alone. Same persona and seed, same draws."""

    def __init__(self, persona: Persona, seed: int | str) -> None:
        self.random = random.Random(f"operator:{persona.id}:{seed}")
        self.happened: list[tuple[int, str]] = []
        self._errors = persona.errors

    def chance(self, rate: float) -> bool:
        """Whether something of this rate, 0 to 1, happens now; without a draw where it can't."""
        return rate > 0 and self.random.random() < rate

    def happens(self, kind: str, at: int) -> bool:
        """Whether one of the persona's errors happens here; noted if so."""
        happens = self.chance(getattr(self._errors, kind))
        if happens:
            self.happened.append((at, kind))
        return happens
