"""Which lines a correction takes back: the core names steps, a reader wants line numbers."""

from __future__ import annotations

from collections.abc import Iterable

from assistant.record.lines.envelope import Line

_CONFIRMED, _CORRECTED = "step_confirmed", "correction_made"


def corrected_lines(lines: Iterable[Line]) -> dict[int, int]:
    """Line of each correction -> line of the confirmation that it takes back. Odd shapes are left out."""
    latest: dict[str, int] = {}
    found: dict[int, int] = {}
    for line in lines:
        step = line.data.get("step")
        if isinstance(step, str) and line.kind == _CONFIRMED:
            latest[step] = line.seq
        elif isinstance(step, str) and line.kind == _CORRECTED and step in latest:
            found[line.seq] = latest[step]
    return found


def corrects(line: int | None) -> str:
    """The same in words, to go before what the correction says."""
    return f"takes back line {line}; " if line else ""
