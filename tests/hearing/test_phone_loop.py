"""The likeliest row of words, against trying out every path there is."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from assistant.hearing.reading.phone_loop import WORD_COSTS, WordLoop

WORDS = [("a", [1]), ("b", [2, 3]), ("c", [3, 1, 1])]


def rows_of(phones: list[int]):
    """Every row of WORDS with just these phones."""
    if not phones:
        yield ()
    for word, own in WORDS:
        if phones[:len(own)] == own:
            for rest in rows_of(phones[len(own):]):
                yield (word, *rest)


def tried_out(logs: np.ndarray) -> tuple[str, ...]:
    best, found = -np.inf, ()
    for path in product(range(logs.shape[1]), repeat=len(logs)):
        # The collapse of Graves et al. 2006, section 3.1: first repeats, then blanks are left out.
        phones = [p for k, p in enumerate(path) if p != 0 and (k == 0 or path[k - 1] != p)]
        log = sum(logs[t, p] for t, p in enumerate(path))
        for row in rows_of(phones):
            if log - WORD_COSTS * len(row) > best + 1e-12:
                best, found = log - WORD_COSTS * len(row), row
    return found


@pytest.mark.parametrize("seed", range(40))
def test_the_likeliest_row_is_that_of_the_likeliest_path(seed):
    rng = np.random.default_rng(seed)
    logs = np.log(rng.dirichlet(np.ones(4) / 2, int(rng.integers(2, 7))))
    assert WordLoop(WORDS).likeliest(logs) == tried_out(logs)


def test_a_word_said_twice_with_a_pause_is_two_words():
    logs = np.log(np.array([[.02, .94, .02, .02], [.94, .02, .02, .02], [.02, .94, .02, .02]]))
    assert WordLoop([("a", [1])]).likeliest(logs) == ("a", "a")
    assert WordLoop([("a", [1])]).likeliest(logs[[0, 0, 2]]) == ("a",)


def test_in_silence_there_is_no_word():
    logs = np.log(np.full((5, 4), 0.01) + np.array([0.96, 0, 0, 0]))
    assert WordLoop(WORDS).likeliest(logs) == ()
