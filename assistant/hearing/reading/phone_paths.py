"""How likely a sequence of phones is, given each frame's phone probabilities, summed over every way to lay it in time.

The forward pass of connectionist temporal classification: Graves, Fernandez, Gomez and Schmidhuber 2006, "Connectionist
Temporal Classification", section 4.1. Column 0 is the blank.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

LEAST_LOG = -660.0      # behind the likeliest path: what is less likely than this is no number any more
FAR_BEHIND = 25.0       # of log probability, behind the likeliest sequence: no second opinion is asked
SMALLEST = 1e-290       # the processor is slow with numbers near the smallest there are


class Sequences:
    """Phone sequences made ready once. `numbers`: of each, its phones by their column, 1 and up."""

    def __init__(self, numbers: Sequence[Sequence[int]]) -> None:
        longest = max((len(n) for n in numbers), default=0)
        self.labels = np.zeros((len(numbers), 2 * longest + 1), dtype=np.int64)     # a blank before, between and after
        for row, found in zip(self.labels, numbers, strict=False):
            row[1:2 * len(found):2] = found
        self.last = np.array([2 * len(n) for n in numbers], dtype=np.int64)
        # The blank between two phones may be left out, unless they are the same.
        self.skips = np.zeros(self.labels.shape)
        self.skips[:, 3::2] = self.labels[:, 3::2] != self.labels[:, 1:-2:2]

    def only(self, chosen: np.ndarray) -> Sequences:
        """Those of these rows."""
        found = Sequences([])
        found.labels, found.last, found.skips = self.labels[chosen], self.last[chosen], self.skips[chosen]
        return found


def best_path_log(logs: np.ndarray) -> float:
    """The log probability of the likeliest path of all, whatever it says. `logs`: (frames, phones + 1)."""
    return float(logs.max(axis=1).sum())


def log_probabilities(logs: np.ndarray, sequences: Sequences) -> np.ndarray:
    """(sequences,) natural logs, at least LEAST_LOG behind the likeliest path. `logs`: (frames, phones + 1)."""
    labels, rows, last = sequences.labels, np.arange(len(sequences.labels)), sequences.last
    # Each frame by its likeliest phone: so plain products stay numbers, which is ten times quicker than sums of logs.
    shares = np.exp(logs - logs.max(axis=1, keepdims=True))
    at = np.zeros(labels.shape)
    at[:, :2] = shares[0][labels[:, :2]]
    for frame in shares[1:]:
        following = at.copy()
        following[:, 1:] += at[:, :-1]
        following[:, 2:] += sequences.skips[:, 2:] * at[:, :-2]
        at = following * frame[labels]
        at[at < SMALLEST] = 0.0
    total = at[rows, last] + np.where(last > 0, at[rows, np.maximum(last - 1, 0)], 0.0)
    return np.log(np.maximum(total, np.exp(LEAST_LOG))) + best_path_log(logs)


def mean_log_probabilities(logs: Sequence[np.ndarray], sequences: Sequences) -> np.ndarray:
    """The mean of `log_probabilities` over several networks' `logs` of the same sound. The first tries all sequences, the
    others those that aren't FAR_BEHIND by then; the rest keep what the first says."""
    found = log_probabilities(logs[0], sequences)
    likely = np.flatnonzero(found > found.max(initial=-np.inf) - FAR_BEHIND)
    found[likely] += sum(log_probabilities(one, sequences.only(likely)) - found[likely] for one in logs[1:]) / len(logs)
    return found
