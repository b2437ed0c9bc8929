"""The verifier: how it is fitted, evaluated and stored."""

from __future__ import annotations

import math

import numpy as np
import pytest

from assistant.hearing.judging.verifier import (
    Verifier,
    features,
    load_verifier,
    reading_features,
    reading_part,
)
from tests.training.train_verifier import FROM, MULTIPLIED, fit, models

# What `reading_engine` finds of a word that fits all through, and of one that doesn't.
CLEAR = {"fit": 0.1, "fit_lead": 8.0, "fit_near": 8.0, "log": -0.5, "margin": 0.0, "lead": 9.0, "near": 9.0, "same": 1.0,
         "words_more": 0.0, "alike": 1.0, "unknown": 0.0, "named": 1.0, "posterior": 0.5}
# As of other speech: hardly read as the word, near words fit its phones better.
POOR = {"fit": -1.6, "fit_lead": 3.0, "fit_near": -5.0, "log": -18.0, "margin": -15.0, "lead": -9.0, "near": -9.0, "same": 0.0,
        "words_more": 2.0, "alike": 0.35, "unknown": 0.0, "named": 0.0, "posterior": 0.0}


def test_the_fit_is_that_of_scikit_learn():
    rng = np.random.default_rng(7)
    rows = rng.normal(size=(40, 2)) * [3, 0.5] + [10, -1]
    labels = (rows[:, 0] - 10 + rng.normal(size=40) * 2 > 0).astype(float)
    found = fit(rows, labels, np.where(labels == 1, 1.0, 3.0))
    # scikit-learn 1.9.1, LogisticRegression(C=1, solver="newton-cholesky"), sample_weight 1 and 3, on rows made
    # standard as ours are.
    assert found["weights"] == pytest.approx([1.97683, -0.16078], abs=2e-5) and found["bias"] == pytest.approx(-2.22761, abs=2e-5)


def test_the_confidence_is_the_logistic_of_the_weighted_sum():
    verifier = Verifier(("a", "b", "a*b"), (1.0, 0.0, 2.0), (2.0, 1.0, 4.0), (0.5, -1.0, 3.0), 0.25, {"stop": 1.5})
    total = 0.25 + 0.5 * (5 - 1) / 2 - 1.0 * 2 + 3.0 * (5 * 2 - 2) / 4
    assert verifier.confidence({"a": 5.0, "b": 2.0}) == pytest.approx(1 / (1 + math.exp(-total)))
    assert verifier.confidence({"a": 5.0, "b": 2.0}, "stop") == pytest.approx(1 / (1 + math.exp(-total - 1.5)))
    with pytest.raises(KeyError):
        verifier.confidence({"a": 5.0})


@pytest.mark.parametrize("sign", [-1.0, 1.0])
def test_the_furthest_numbers_give_a_chance_and_no_error(sign):
    assert 0.0 <= Verifier(("a",), (0.0,), (1e-3,), (1e9,), 0.0).confidence({"a": sign}) <= 1.0


@pytest.mark.parametrize(("form", "confirming"), [("affirmative", True), ("repeat", False), ("torn glove", False)])
def test_a_clear_word_passes_its_part_and_a_poor_one_is_far_behind(form, confirming):
    part = reading_part(form, confirming)
    assert part in FROM["reading"]
    clear, poor = (load_verifier("reading_en", part).confidence(
        reading_features(scores | ({"rival": rival} if confirming else {}), 0.6, 8), form)
        for scores, rival in ((CLEAR, 20.0), (POOR, -20.0)))
    assert clear > 0.9 > poor + 0.2


@pytest.mark.parametrize("which", FROM)
def test_every_packaged_part_asks_for_nothing_but_the_features_there_are(which):
    found = reading_features(CLEAR, 0.5, 6) if which == "reading" else features(
        dict.fromkeys(("grammar", "plain", "grammar_acoustic", "plain_acoustic", "main", "plain_words", "frames", "words_s"), 1.0),
        0.5, 0.5, 6)
    for part in FROM[which]:
        verifier = load_verifier(f"{which}_en", part)
        assert 0.0 <= verifier.confidence(found) <= 1.0
        assert len({len(values) for values in (verifier.features, verifier.mean, verifier.spread, verifier.weights)}) == 1


def test_only_words_and_phrases_get_products_and_only_words_that_confirm_a_rival():
    rng = np.random.default_rng(3)
    names = tuple(reading_features(CLEAR, 0.5, 6))
    rows = rng.normal(size=(90, len(names)))
    forms = ["affirmative", "repeat", "torn glove"] * 30
    rows[:, names.index("rival")] = [1.0 if form == "affirmative" else 0.0 for form in forms]
    fitted = models("reading", rows, (rows[:, 0] > 0).astype(float), np.ones(90), names, forms)
    products = len(MULTIPLIED) * (len(MULTIPLIED) + 1) // 2
    assert [sum("*" in name for name in fitted[part]["features"]) for part in ("confirming", "word", "phrase")] == [0, products, products]
    assert [part for part in fitted if "rival" in fitted[part]["features"]] == ["confirming"]
    k = fitted["word"]["features"].index("fit*fit_near")
    mine = [row for row, form in zip(rows, forms, strict=False) if form == "repeat"]
    product = [row[names.index("fit")] * row[names.index("fit_near")] for row in mine]
    assert fitted["word"]["mean"][k] == pytest.approx(np.mean(product), abs=1e-4)
