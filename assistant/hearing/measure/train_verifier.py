"""Train the embedded engine's verifier on the tuning sounds, through the whole chain, and print its JSON.

    python -m assistant.hearing.measure.train_verifier > assistant/hearing/packs/verifier_pocketsphinx_en.json

A logistic model fitted by Newton's method with an L2 penalty; a false command weighs three times a missed one.
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
from .figures import SNRS
from .mixing import mix

FALSE_WEIGHS = 3.0
L2 = 1.0


def collect(pack: Pack, every: int = 1, say=lambda text: None) -> tuple[np.ndarray, np.ndarray, tuple[str, ...]]:
    """(rows, features), labels (1 for the word that was said), feature names."""
    known = dictionary(bundled_dictionary_path())
    sounds = {f: len(pronounce(f, known, pack.pronunciations)[0].split()) for f in pack.forms}
    engine = open_engine("en", engine="pocketsphinx")
    rows: list[list[float]] = []
    labels: list[float] = []
    names: tuple[str, ...] = ()

    def take(pieces, snr: float | None, seed: int) -> None:
        nonlocal names
        listener = Listener(engine, pack, bars=Bars(0.0, 0.0))
        listener.set_active(words.ALL)
        pcm, placed = mix(pieces, snr, seed, "tune")
        for outcome in chain.run(listener, pcm, placed, 0.1)[0]:
            for u in outcome.utterances:
                if "plain" in u.scores and u.said in sounds:
                    found = features(u.scores, u.scores["posterior"], u.scores["loud_s"], sounds[u.said])
                    names = tuple(found)
                    rows.append(list(found.values()))
                    labels.append(float(pack.word_of(u.said) == outcome.piece.truth))
        say(f"{len(rows)} rows, {len(labels) - sum(labels):.0f} of them false")

    voice_list = [v for v in (*voices.NATURAL_TUNE, *voices.FORMANT_TUNE) if voices.available(v)]
    for k, voice in enumerate(voice_list):
        pieces = [(w, f, voices.render(f, voice)) for w, fs in pack.say.items() for f in fs]
        for j, (_, snr) in enumerate(SNRS):
            take(pieces[(k + j) % every::every], snr, 10 * k + j)
    for kind, pieces in negatives.gather(pack, "tune", tuple(voice_list), every):
        take(pieces, 15.0, 500 + len(kind))
    engine.close()
    return np.array(rows), np.array(labels), names


def fit(rows: np.ndarray, labels: np.ndarray) -> dict[str, object]:
    """mean, spread, weights, bias."""
    mean, spread = rows.mean(axis=0), rows.std(axis=0) + 1e-9
    a = np.column_stack([(rows - mean) / spread, np.ones(len(rows))])
    cost = np.where(labels == 1, 1.0, FALSE_WEIGHS)
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


if __name__ == "__main__":
    found_rows, found_labels, feature_names = collect(load_pack("en"), say=lambda text: print(text, file=sys.stderr))
    print(json.dumps({"features": feature_names, **fit(found_rows, found_labels)}, indent=1))
