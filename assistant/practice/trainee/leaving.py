"""Ending a practice by typing so."""

from __future__ import annotations


def leave_if_asked(text: str) -> None:
    """Raises KeyboardInterrupt, as Ctrl-C does, where a typed line asks for the end."""
    if text in ("quit", "exit"):
        raise KeyboardInterrupt("You ended this practice before its end. It doesn't count.")
