"""A persona that learns: what the score told it, it does less often wrong the next time."""

from __future__ import annotations

from assistant.practice.evidence.score import (
    CLAIMS,
    CORRECTIONS,
    HYGIENE,
    MISHAPS,
    ORDER,
    RECALL,
    WAITS,
    WORDS,
    Score,
)
from assistant.practice.operator.persona import Persona

# Part of the score -> the persona's errors it tells about.
_TELLS = {
    ORDER: ("wrong_word",), WAITS: ("misses_rewet",), WORDS: ("chats", "talks_over", "wrong_word"),
    CLAIMS: ("claims_early", "slips", "mishears", "misses_rewet"), HYGIENE: ("reuses_wipe",), MISHAPS: (), CORRECTIONS: ("slips",), RECALL: (),
}
TOLD, UNTOLD = 0.35, 0.8  # what is left of an error's rate after it was pointed out, and by practice alone


def learn(persona: Persona, told: Score) -> Persona:
    """The same person after hearing this score."""
    pointed = {name for part in told.parts if part.moments for name in _TELLS[part.name]}
    touched = {name for names in _TELLS.values() for name in names}
    rates = {
        name: getattr(persona.errors, name) * (TOLD if name in pointed else UNTOLD) for name in sorted(touched)
    }
    rates["owns_up"] = min(1.0, persona.errors.owns_up + 0.1)
    return persona.model_copy(update={"errors": persona.errors.model_copy(update=rates)})
