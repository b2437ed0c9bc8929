"""Shares with their uncertainty: zero of a hundred is not zero."""

from __future__ import annotations

import math


def upper_bound(hits: int, trials: int, confidence: float = 0.95) -> float:
    """One-sided Clopper-Pearson upper bound of a share (Clopper and Pearson 1934); 1.0 when there were no trials."""
    if trials == 0 or hits >= trials:
        return 1.0
    low, high = hits / trials, 1.0
    for _ in range(60):
        middle = (low + high) / 2
        if _at_most(hits, trials, middle) > 1 - confidence:
            low = middle
        else:
            high = middle
    return high


def _at_most(hits: int, trials: int, share: float) -> float:
    """Binomial probability of at most `hits` of `trials`."""
    if share <= 0.0:
        return 1.0
    if share >= 1.0:
        return 0.0
    total = 0.0
    for k in range(hits + 1):
        total += math.exp(math.lgamma(trials + 1) - math.lgamma(k + 1) - math.lgamma(trials - k + 1)
                          + k * math.log(share) + (trials - k) * math.log1p(-share))
    return min(1.0, total)


def rate(hits: int, trials: int) -> dict[str, float | int | None]:
    """{"hits", "trials", "share", "upper_95"}; share None without trials."""
    return {"hits": hits, "trials": trials, "share": round(hits / trials, 5) if trials else None,
            "upper_95": round(upper_bound(hits, trials), 5)}
