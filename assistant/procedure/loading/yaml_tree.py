"""Reads one YAML file into plain values plus the place of every node. Refuses what a site file never needs.

No anchors or aliases, no tags, no duplicate keys, no control or direction-changing characters, one document,
of bounded size and depth. Scalars follow the YAML 1.2 core schema ("no" and "on" stay words).
"""

from __future__ import annotations

import hashlib
import re
from pathlib import Path
from typing import Any

from assistant.procedure.loading.events import read_events
from assistant.procedure.loading.healing import healed
from assistant.procedure.loading.hidden import hidden_characters, is_hidden
from assistant.procedure.loading.problems import Problem, SiteFileProblems
from assistant.procedure.loading.tree import Key, Place, Tree

MAX_BYTES = 1_000_000


def read_tree(path: Path, shown: str = "") -> Tree:
    """Reads `path`; `shown` is how the file is named in messages. Raises SiteFileProblems for whatever is wrong."""
    tree = read_what_can_be(path, shown)
    if tree.problems:
        raise SiteFileProblems(tree.problems)
    return tree


def read_what_can_be(path: Path, shown: str = "") -> Tree:
    """The same, but raising only where the file can't be read to its end: what is wrong with single values stands in
    the tree's `problems`, and the values themselves in `bad`."""
    shown = shown or str(path)

    def refuse(message: str, expected: str = "", try_next: str = "", line: int = 0, column: int = 0) -> SiteFileProblems:
        return SiteFileProblems([Problem(shown, line, column, message, expected, try_next)])

    try:
        if not path.is_file():
            raise refuse("There is no such file.", "a YAML file", "Check the name and the folder.")
        size = path.stat().st_size
        if size > MAX_BYTES:
            raise refuse(
                f"The file has {size} bytes.", f"at most {MAX_BYTES} bytes", "Split it into parts and include them."
            )
        raw = path.read_bytes()
    except OSError as error:
        raise refuse(f"The file can't be read: {error.strerror or error}.", "a readable file") from error
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        column = error.start - (raw.rfind(b"\n", 0, error.start) + 1) + 1
        raise refuse(
            f"The byte 0x{raw[error.start]:02x} isn't UTF-8.", "UTF-8 text", "Save the file as UTF-8.", line, column
        ) from error
    directive = re.match(r"(?:\s*(?:#.*)?\n)*%(?:YAML|TAG)\b", text)
    if directive:
        raise refuse(
            "A YAML directive stands at the start.", "a plain YAML 1.2 file", "Take the line with the % out.",
            text.count("\n", 0, directive.end()) + 1, 1,
        )
    hidden = hidden_characters(text, shown)
    if hidden:  # a control character would end the reading; the values that hold one are out of the question anyway
        text = "".join("\N{MIDDLE DOT}" if is_hidden(c) and c not in "\n\r\t" else c for c in text)
    try:
        tree = parse_what_can_be(text, shown, frozenset((p.line, p.column) for p in hidden))
    except SiteFileProblems as error:
        raise (SiteFileProblems(hidden) if hidden else error) from None
    tree.problems[:0] = hidden
    tree.sha256 = hashlib.sha256(raw).hexdigest()
    return tree


def parse_tree(text: str, shown: str) -> Tree:
    """Text into a Tree. Raises SiteFileProblems with every structural problem of the text."""
    tree = parse_what_can_be(text, shown)
    if tree.problems:
        raise SiteFileProblems(tree.problems)
    return tree


def parse_what_can_be(text: str, shown: str, known: frozenset[Place] = frozenset()) -> Tree:
    """Text into a Tree with its problems. Raises SiteFileProblems where the text can't be read to its end. `known`:
    places of hidden characters that were named already. A fault of syntax takes out what stands around it."""
    read = read_events(text, shown, known)
    if not read.fault_line:
        return read.tree
    found = healed(text, read, lambda changed: read_events(changed, shown, known))
    if found is None:
        raise SiteFileProblems(read.tree.problems)
    readings, nulls = found
    tree = readings[-1].tree
    if not isinstance(tree.data, dict) or all(value is None for value in tree.data.values()):
        raise SiteFileProblems(read.tree.problems)  # nothing is left to be judged
    # A reading that broke off names last what it broke off at; what it found before, the last one finds as well.
    tree.problems += [r.tree.problems[-1] for r in readings[:-1]]
    tree.bad |= {path for path, (line, _) in tree.places.items() if line in nulls and _value(tree.data, path) is None}
    return tree


def _value(data: Any, path: Key) -> Any:
    for part in path:
        data = data[part]
    return data


