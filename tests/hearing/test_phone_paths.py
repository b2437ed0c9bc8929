"""How likely a row of phones is, against an independent implementation and against trying out every path."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from assistant.hearing.reading.phone_paths import (
    FAR_BEHIND,
    LEAST_LOG,
    Sequences,
    best_path_log,
    log_probabilities,
    mean_log_probabilities,
)


def frames(seed: int, count: int, columns: int) -> np.ndarray:
    return np.log(np.random.default_rng(seed).dirichlet(np.ones(columns), count))


# PyTorch 2.15.0, torch.nn.functional.ctc_loss(..., blank=0, reduction="none"), on frames(42, 9, 5); double precision.
BY_PYTORCH = {(1, 2, 3): -7.931100887071685, (2, 2): -8.437271028022467, (4,): -11.012161260566199,
              (1, 2, 1, 2, 3, 3): -10.84060356873088}


def test_the_probabilities_are_those_of_pytorch():
    found = log_probabilities(frames(42, 9, 5), Sequences(list(BY_PYTORCH)))
    assert found == pytest.approx(list(BY_PYTORCH.values()), abs=1e-9)


def collapsed(path: tuple[int, ...]) -> tuple[int, ...]:
    """Graves et al. 2006, section 3.1: repeats, then blanks, are left out."""
    return tuple(p for k, p in enumerate(path) if p != 0 and (k == 0 or path[k - 1] != p))


@pytest.mark.parametrize("seed", range(10))
def test_every_sequence_gets_what_its_paths_add_up_to(seed):
    logs = frames(seed, 5, 3)
    by_path: dict[tuple[int, ...], float] = {}
    for path in product(range(3), repeat=5):
        said = collapsed(path)
        by_path[said] = by_path.get(said, 0.0) + float(np.exp(sum(logs[t, p] for t, p in enumerate(path))))
    assert sum(by_path.values()) == pytest.approx(1.0)
    found = np.exp(log_probabilities(logs, Sequences(list(by_path))))
    assert found == pytest.approx(list(by_path.values()), rel=1e-9)


def test_what_does_not_fit_into_the_time_is_as_unlikely_as_can_be():
    logs = frames(1, 2, 4)
    assert log_probabilities(logs, Sequences([(1, 2, 3)]))[0] == pytest.approx(LEAST_LOG + best_path_log(logs))


def test_a_sequence_of_no_phones_is_silence():
    logs = frames(3, 4, 3)
    assert log_probabilities(logs, Sequences([(), (1,)]))[0] == pytest.approx(logs[:, 0].sum())


def test_of_several_networks_the_likely_get_the_mean_and_the_rest_what_the_first_says():
    sequences = Sequences([(1, 2), (2, 1), (1,), (), (1, 2, 1, 2, 1)])
    sure = np.log(np.full((6, 3), 1e-9) + np.array([0, 1, 0]))         # of phone 1 in every frame
    others = [frames(seed, 6, 3) for seed in (1, 2)]
    found = mean_log_probabilities([sure, *others], sequences)
    each = np.array([log_probabilities(one, sequences) for one in (sure, *others)])
    likely = each[0] > each[0].max() - FAR_BEHIND
    assert 0 < likely.sum() < len(likely)
    assert found[likely] == pytest.approx(each.mean(axis=0)[likely]) and found[~likely] == pytest.approx(each[0][~likely])
    assert mean_log_probabilities([sure], sequences) == pytest.approx(each[0])
    assert len(mean_log_probabilities([sure, *others], Sequences([]))) == 0
