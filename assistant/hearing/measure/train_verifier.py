"""Train the embedded engine's verifier on the tuning sounds, through the whole chain, and print its JSON.

    python -m assistant.hearing.measure.train_verifier > assistant/hearing/packs/verifier_pocketsphinx_en.json

A logistic model fitted by Newton's method with an L2 penalty; a false command weighs three times a missed one, a false
confirmation six times. Every recording has a fan of another shape and another signal-to-noise ratio.
"""

from __future__ import annotations

import json
import sys

import numpy as np

from assistant.hearing.engines import open_engine
from assistant.hearing.judge import Bars
from assistant.hearing.lexicon import bundled_dictionary_path, dictionary, pronounce
from assistant.hearing.listener import Listener
from assistant.hearing.packs import Pack, load_pack
from assistant.hearing.verifier import features
from assistant.session import words

from . import chain, negatives, voices
from .mixing import mix

FALSE_WEIGHS = 3.0
FALSE_CONFIRMATION_WEIGHS = 6.0
L2 = 1.0
CONFIRMING_FROM = 0.25   # the fitted chance from which a confirmation counts: 13 of the 61 false rows left pass, 61 % of the true
SNR_DB = (8.0, 25.0)
CLEAN_PART = 0.25
TAKES = 4                # a voice's words are spread over so many recordings, each in a room of its own
CONFIRMING_TAKES = 3     # further takes of the words that confirm


def collect(pack: Pack, say=lambda text: None) -> tuple[np.ndarray, np.ndarray, np.ndarray, tuple[str, ...]]:
    """(rows, features), labels (1 for the word that was said), costs, feature names."""
    known = dictionary(bundled_dictionary_path())
    sounds = {f: len(pronounce(f, known, pack.pronunciations)[0].split()) for f in pack.forms}
    engine = open_engine("en", engine="pocketsphinx")
    rng = np.random.default_rng(2024)
    rows: list[list[float]] = []
    labels: list[float] = []
    costs: list[float] = []
    names: tuple[str, ...] = ()

    def take(pieces) -> None:
        nonlocal names
        listener = Listener(engine, pack, bars=Bars(0.0, 0.0))
        listener.set_active(words.ALL)
        snr = None if rng.random() < CLEAN_PART else float(rng.uniform(*SNR_DB))
        pcm, placed = mix(pieces, snr, int(rng.integers(10_000, 90_000)), "wide")
        for outcome in chain.run(listener, pcm, placed, 0.1)[0]:
            for u in outcome.utterances:
                if "plain" in u.scores and u.said in sounds:
                    found = features(u.scores, u.scores["posterior"], u.scores["loud_s"], sounds[u.said])
                    names = tuple(found)
                    word = pack.word_of(u.said)
                    rows.append(list(found.values()))
                    labels.append(float(word == outcome.piece.truth))
                    false_weighs = FALSE_CONFIRMATION_WEIGHS if word in words.CONFIRMING else FALSE_WEIGHS
                    costs.append(1.0 if labels[-1] else false_weighs)
        say(f"{len(rows)} rows, {len(labels) - sum(labels):.0f} of them false")

    voice_list = [v for v in (*voices.NATURAL_TUNE, *voices.FORMANT_TUNE) if voices.available(v)]
    for voice in voice_list:
        pieces = [(w, f, voices.render(f, voice)) for w, fs in pack.say.items() for f in fs]
        for k in range(TAKES):
            take(pieces[k::TAKES])
        for _ in range(CONFIRMING_TAKES):
            take([p for p in pieces if p[0] in words.CONFIRMING])
    for kind, pieces in negatives.gather(pack, "tune", tuple(voice_list), 1):
        step = NEGATIVES_TAKEN[kind] if kind in NEGATIVES_TAKEN else 2
        chosen = pieces[::step]
        for at in range(0, len(chosen), 40):
            take(chosen[at:at + 40])
    engine.close()
    return np.array(rows), np.array(labels), np.array(costs), names


# Every so many-th of these: nearly all chat is refused before the verifier sees it, near misses are what it is for.
NEGATIVES_TAKEN = {"chat": 5, "command inside a sentence": 3, "assistant's lines": 4, "near misses": 4, "nearly confirming": 1,
                   "human prompts": 3}


def fit(rows: np.ndarray, labels: np.ndarray, cost: np.ndarray) -> dict[str, object]:
    """mean, spread, weights, bias."""
    mean, spread = rows.mean(axis=0), rows.std(axis=0) + 1e-9
    a = np.column_stack([(rows - mean) / spread, np.ones(len(rows))])
    ridge = np.append(np.full(a.shape[1] - 1, L2), 1e-6)
    w = np.zeros(a.shape[1])
    for _ in range(100):
        p = 1.0 / (1.0 + np.exp(-a @ w))
        step = np.linalg.solve((a.T * (cost * p * (1 - p))) @ a + np.diag(ridge), a.T @ (cost * (p - labels)) + ridge * w)
        w -= step
        if np.abs(step).max() < 1e-9:
            break
    return {"mean": [round(float(v), 5) for v in mean], "spread": [round(float(v), 5) for v in spread],
            "weights": [round(float(v), 5) for v in w[:-1]], "bias": round(float(w[-1]), 5)}


def models(rows: np.ndarray, labels: np.ndarray, cost: np.ndarray, names: tuple[str, ...]) -> dict[str, object]:
    """One model for the words that confirm, which have rivals, and one for all others."""
    at = names.index("rival")
    confirming = rows[:, at] != 0.0
    plain = [k for k in range(len(names)) if k != at]
    strict = fit(rows[confirming], labels[confirming], cost[confirming])
    # One bar for every engine (`judge.Bars`): shift this model so that its chosen chance lies there.
    odds = [p / (1.0 - p) for p in (Bars().confirming, CONFIRMING_FROM)]
    strict["bias"] = round(strict["bias"] + float(np.log(odds[0] / odds[1])), 5)
    return {
        "confirming": {"features": names, **strict},
        "other": {"features": [names[k] for k in plain],
                  **fit(rows[~confirming][:, plain], labels[~confirming], cost[~confirming])},
    }


if __name__ == "__main__":
    found = collect(load_pack("en"), say=lambda text: print(text, file=sys.stderr))
    if len(sys.argv) > 1:      # a file to keep the rows in, for looking at bars
        np.savez(sys.argv[1], rows=found[0], labels=found[1], costs=found[2])
    print(json.dumps(models(*found), indent=1))
