"""A second opinion on a recognised command: a small logistic model over scores, margins and durations.

Trained by `measure/train_verifier.py` on the tuning voices and sounds only, stored as data, evaluated in plain Python.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, field
from functools import lru_cache
from importlib import resources

# Worse than this is no worse.
RIVAL_LEAST = -40.0
LOG_LEAST = -20.0
MARGIN_LEAST = -15.0
EXPECTED_S_PER_SOUND = 0.075     # middle of the tuning voices' speaking rates
MOST_S_PER_SOUND = 0.16          # longer sounds a word only where returning hiss is taken for speech: no longer for the model


@dataclass(frozen=True)
class Verifier:
    """`features`: names in order, or two with a star between for their product; each is centred by `mean`, divided by
    `spread`, weighted, summed with `bias`.
    `forms`: what is added for a spoken form, since some have more near words than others; nothing for one not in it."""

    features: tuple[str, ...]
    mean: tuple[float, ...]
    spread: tuple[float, ...]
    weights: tuple[float, ...]
    bias: float
    forms: dict[str, float] = field(default_factory=dict)

    def confidence(self, found: dict[str, float], form: str = "") -> float:
        """0 to 1. KeyError when a feature is missing."""
        total = self.bias + self.forms.get(form, 0.0)
        for name, mean, spread, weight in zip(self.features, self.mean, self.spread, self.weights, strict=False):
            total += weight * (math.prod(found[factor] for factor in name.split("*")) - mean) / spread
        return 1.0 / (1.0 + math.exp(-max(-30.0, min(30.0, total))))


def features(scores: dict[str, float], posterior: float, loud_s: float, sounds: int) -> dict[str, float]:
    """What the model looks at. `scores`: the engine's; `loud_s`: how long the word sounded; `sounds`: its phonemes."""
    per_sound = max(loud_s, 0.05) / sounds
    return {
        "llr": 1e3 * (scores["grammar"] - scores["plain"]) / sounds,
        "allr": 1e3 * (scores["grammar_acoustic"] - scores["plain_acoustic"]) / sounds,
        "post": math.log(max(posterior, 1e-4)),
        "mllr": 1e3 * (scores["main"] - scores["plain"]) / sounds,
        "durper": per_sound,
        "durdev": abs(math.log(per_sound / EXPECTED_S_PER_SOUND)),
        "pwords": scores["plain_words"] / sounds,
        "acous": 1e3 * scores["grammar_acoustic"] / scores["frames"],
        "n": float(sounds),
        "cover": scores["words_s"] / max(loud_s, 0.05),
        "rival": scores.get("rival", 0.0),     # how far ahead of its rivals: only words that confirm have them
    }


def reading_features(scores: dict[str, float], loud_s: float, sounds: int) -> dict[str, float]:
    """What the model of `reading_engine` looks at."""
    per_sound = min(MOST_S_PER_SOUND, max(loud_s, 0.05) / sounds)
    return {
        "fit": scores["fit"],
        "fit_lead": scores["fit_lead"],
        "fit_near": scores["fit_near"],
        "log": max(LOG_LEAST, scores["log"]),
        "margin": max(MARGIN_LEAST, min(1.0, scores["margin"])),
        "lead": scores["lead"],
        "near": scores["near"],
        "same": scores["same"],
        "more": min(4.0, scores["words_more"]),
        "alike": scores["alike"],
        "unknown": scores["unknown"],
        "named": scores["named"],
        "post": math.log(max(scores["posterior"], 1e-4)),
        "durper": per_sound,
        "durdev": abs(math.log(per_sound / EXPECTED_S_PER_SOUND)),
        "n": float(sounds),
        "rival": max(RIVAL_LEAST, scores.get("rival", 0.0)),      # only words that confirm have it
    }


def reading_part(form: str, confirming: bool) -> str:
    """The part of the reading engine's verifier that judges `form`: "confirming", "word" or "phrase"."""
    return "confirming" if confirming else "phrase" if " " in form else "word"


@lru_cache(maxsize=8)
def load_verifier(name: str, part: str) -> Verifier:
    """The packaged model of that name. `part`: "confirming" for words that confirm; for the rest "other" of
    PocketSphinx's, "word" or "phrase" of the reading engine's."""
    text = (resources.files("assistant.hearing") / "packs" / f"verifier_{name}.json").read_text(encoding="utf-8")
    data = json.loads(text)[part]
    return Verifier(tuple(data["features"]), tuple(data["mean"]), tuple(data["spread"]), tuple(data["weights"]),
                    float(data["bias"]), data.get("forms", {}))
