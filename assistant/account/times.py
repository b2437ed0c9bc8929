"""Lengths of time as people read them."""

from __future__ import annotations


def clock_text(ms: int) -> str:
    """12:07, or 1:02:07 past the hour."""
    seconds = max(0, ms) // 1000
    hours, rest = divmod(seconds, 3600)
    return f"{hours}:{rest // 60:02d}:{rest % 60:02d}" if hours else f"{rest // 60:02d}:{rest % 60:02d}"
