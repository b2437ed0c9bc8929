"""Lengths of time as people read them."""

from __future__ import annotations


def clock_text(ms: int) -> str:
    """12:07, or 1:02:07 past the hour."""
    seconds = max(0, ms) // 1000
    hours, rest = divmod(seconds, 3600)
    return f"{hours}:{rest // 60:02d}:{rest % 60:02d}" if hours else f"{rest // 60:02d}:{rest % 60:02d}"


def span_words(ms: int) -> str:
    """A length of time in words: 45 s, 3 min 5 s, 2 h 10 min."""
    s = max(0, round(ms / 1000))
    if s < 60:
        return f"{s} s"
    if s < 3600:
        return f"{s // 60} min {s % 60} s" if s % 60 and s < 600 else f"{round(s / 60)} min"
    return f"{s // 3600} h {s % 3600 // 60} min" if s % 3600 // 60 else f"{s // 3600} h"
