"""Small things the figures share: words on stderr, and the 95th percentile."""

from __future__ import annotations

import click


def say(text: str) -> None:
    """How far it is, on stderr."""
    click.echo(text, err=True)


def p95(values: list[float]) -> float | None:
    """The 95th percentile by the nearest-rank method, or None for none."""
    if not values:
        return None
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, -(-len(ordered) * 95 // 100) - 1)]


def rounded(value: float | None) -> float | None:
    """To a tenth; None stays None."""
    return None if value is None else round(value, 1)
