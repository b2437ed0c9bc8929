"""Times and facts as text for paper."""

from __future__ import annotations

from typing import Any

from assistant.record.lines.safe_text import printable


def clock(ms: int | None) -> str:
    """Session time as h:mm:ss, or a dash."""
    if ms is None:
        return "\u2013"
    seconds = ms // 1000
    return f"{seconds // 3600}:{seconds % 3600 // 60:02d}:{seconds % 60:02d}"


def length(ms: int) -> str:
    """A duration in plain words, rounded down to the second."""
    seconds = ms // 1000
    hours, minutes, seconds = seconds // 3600, seconds % 3600 // 60, seconds % 60
    parts = [f"{hours} h"] * bool(hours) + [f"{minutes} min"] * bool(minutes) + [f"{seconds} s"]
    return " ".join(parts)


def wall(text: str) -> str:
    """An RFC 3339 time for reading: day, time to the second, offset."""
    if len(text) < 20:
        return printable(text, 40)
    offset = text[19:].lstrip(".0123456789")
    return printable(f"{text[:10]} {text[11:19]} {'UTC' if offset == 'Z' else offset}", 60)


def detail(data: dict[str, Any], limit: int = 1500) -> str:
    """A fact's data as "name: value; name: value", its numbers with their units."""
    return printable("; ".join(_pairs(data)), limit)


def _pairs(data: dict[str, Any]) -> list[str]:
    return [_named(str(name), value) for name, value in data.items() if value not in ("", [], None)]


def _named(name: str, value: Any) -> str:
    """One pair. Names end in their unit: `_ms` milliseconds, `_pm` thousandths, shown as per cent."""
    if type(value) is int and name.endswith("_ms"):
        return f"{name[:-3].replace('_', ' ')}: {value} ms"
    if type(value) is int and name.endswith("_pm"):
        return f"{name[:-3].replace('_', ' ')}: {value / 10:g} %"
    if name == "scores" and isinstance(value, list) and all(_is_score(score) for score in value):
        return "scores: " + ", ".join(f"{score[0]} {score[1] / 1000:g}" for score in value)
    return f"{name.replace('_', ' ')}: {_value(value)}"


def _is_score(score: Any) -> bool:
    return isinstance(score, list) and len(score) == 2 and isinstance(score[0], str) and type(score[1]) is int


def _value(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(_pairs(value)) + "}"
    if isinstance(value, list):
        return ", ".join(_value(item) for item in value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value)


def pieces(text: str, size: int) -> list[str]:
    """`text` in pieces of at most `size` characters, cut at a space where there is one; never none."""
    cut = []
    while len(text) > size:
        at = text.rfind(" ", size // 2, size) + 1 or size
        cut.append(text[:at])
        text = text[at:]
    return [*cut, text]
