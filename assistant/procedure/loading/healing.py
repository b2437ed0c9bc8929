"""A YAML file with faults of syntax, read on behind each of them: as little as will do is put out of the way.

YAML's parser stops at its first fault. So the lines around it (the value of a key, an item of a list, a whole key of
the file) are exchanged for `null`, the smallest first, until the parser gets further; every other line keeps its
number.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Generic, TypeVar

MAX_FAULTS = 12  # of syntax in one file
MAX_TRIES = 8  # blocks tried for one of them
MAX_CHARS = 120_000  # a longer file isn't read again and again

_KEY = re.compile(r"( *)(- +)?([A-Za-z_][A-Za-z0-9_]*) *:(?=\s|$)")
_ITEM = re.compile(r"( *)-(?=\s|$)")

Tree = TypeVar("Tree")


@dataclass(frozen=True, slots=True)
class Read(Generic[Tree]):
    """What one reading came to. `fault_line`: where the trouble begins, from 1; 0 where the text was read to its end."""

    tree: Tree
    fault_line: int = 0


def healed(text: str, first: Read[Tree], read: Callable[[str], Read[Tree]]) -> tuple[list[Read[Tree]], list[int]] | None:
    """(each reading that came to a fault and then the one that came to the end, the lines now holding a `null`), or
    None where the text can't be mended so."""
    if len(text) > MAX_CHARS or re.search(r"\r(?!\n)", text):
        return None
    lines, readings, nulls = text.split("\n"), [first], []
    for _ in range(MAX_FAULTS):
        found = _one(lines, readings[-1], read)
        if found is None:
            return None
        lines, start, reading = found
        nulls.append(start + 1)
        readings.append(reading)
        if not reading.fault_line:
            return readings, nulls
    return None


def _one(
    lines: list[str], fault: Read[Tree], read: Callable[[str], Read[Tree]]
) -> tuple[list[str], int, Read[Tree]] | None:
    at = min(fault.fault_line, len(lines)) - 1
    blocks = {*_blocks(lines, at), *(_blocks(lines, at - 1) if at else ())}
    for start, end, null in sorted(blocks, key=lambda b: (b[1] - b[0], -b[0]))[:MAX_TRIES]:
        tried = [*lines[:start], null, *[""] * (end - start - 1), *lines[end:]]
        reading = read("\n".join(tried))
        if not reading.fault_line or reading.fault_line > max(fault.fault_line, end):
            return tried, start, reading
    return None


def _blocks(lines: list[str], at: int) -> Iterator[tuple[int, int, str]]:
    """(first line, line behind, what stands in its place) of the value, the items and the key of the file that a line
    belongs to, the innermost first."""
    depth = len(lines[at]) + 1
    for start in range(at, -1, -1):
        line = _spaced(lines[start])
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        indent = len(line) - len(line.lstrip(" "))
        if indent >= depth and start != at:
            continue
        key, item = _KEY.match(line), _ITEM.match(line)
        if key:
            column = len(key[1]) + len(key[2] or "")
            yield start, _end(lines, start, column), f"{key[1]}{key[2] or ''}{key[3]}: null"
        if item:
            yield start, _end(lines, start, indent), f"{item[1]}- null"
        if key or item:
            depth = indent
        if (key or item) and indent == 0:
            return


def _end(lines: list[str], start: int, column: int) -> int:
    """The line behind the block that begins at `start`, whose head stands at `column`."""
    for n in range(start + 1, len(lines)):
        text = lines[n].strip()
        if not text or text.startswith("#"):
            continue
        indent = len(_spaced(lines[n])) - len(_spaced(lines[n]).lstrip())
        if indent < column or (indent == column and not (text.startswith("- ") and _ends_open(lines[start]))):
            return n
    return len(lines)


def _spaced(line: str) -> str:
    """A tab at a line's beginning, which YAML doesn't take, as the two spaces it was most likely meant for."""
    rest = line.lstrip(" \t")
    return line[: len(line) - len(rest)].replace("\t", "  ") + rest


def _ends_open(line: str) -> bool:
    """Whether a list may follow a key at the key's own column."""
    return line.rstrip().endswith(":")
