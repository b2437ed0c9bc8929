"""The port both engines and the fake stand behind: one utterance in, one hypothesis out."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Protocol

from assistant.hearing.vocabulary.packs import Pack

ENGINE_RESTARTED = "engine_restarted"  # the score of an utterance that was lost when the engine stopped and began again


@dataclass(frozen=True)
class Hypothesis:
    """What an engine made of one utterance.

    `said`: the recognised text in plain words. `form`: the spoken form when the whole utterance was one command,
    else None. `agrees`: False when a second look with the bare grammar named another command. `value_text`: the
    words of a number, lot or date when one was asked for. `confidence`: 0 to 1. `scores`: the engine's own figures.
    """

    said: str
    form: str | None
    confidence: float
    agrees: bool = True
    value_text: str = ""
    scores: dict[str, float] = field(default_factory=dict)


class Engine(Protocol):
    """One thread. Whole utterances: the level and the cepstral mean of all of it beat decoding as it streams.

    `subtracts_noise`: whether the sound should have the room's noise subtracted before it arrives. `over_speech_bar`:
    the least confidence at which a word said while the assistant speaks counts, above the bars of the judge.
    """

    subtracts_noise: bool
    over_speech_bar: float

    def describe(self) -> dict[str, object]:
        """engine, version, model, model_sha256, sample_rate_hz, language."""

    def load(self, pack: Pack) -> None:
        """Take a vocabulary. Raises ModelError naming the word the model lacks."""

    def decode(self, pcm: bytes, expect: str | None = None, loud_s: float = 0.0, raw: bytes = b"") -> Hypothesis:
        """`pcm`: 16 kHz mono int16, one utterance with a little silence around it, sounding for `loud_s` of it (0: not
        known). `expect`: one of `values.KINDS`. `raw`: the same stretch as it came, noise and all (empty: not kept)."""

    def close(self) -> None: ...
