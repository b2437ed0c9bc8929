"""Reads one YAML file into plain values plus the place of every node. Refuses what a site file never needs.

Built on the parser's own events, without recursion, so that neither depth nor size of a hostile file can hurt:
no anchors or aliases, no tags, no duplicate keys, no control or direction-changing characters, one document,
at most `MAX_BYTES` and `MAX_DEPTH`. Scalars follow the YAML 1.2 core schema ("no" and "on" stay words).
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.events import (
    AliasEvent,
    DocumentStartEvent,
    MappingEndEvent,
    MappingStartEvent,
    ScalarEvent,
    SequenceEndEvent,
    SequenceStartEvent,
)

from assistant.procedure.loading.healing import Read, healed
from assistant.procedure.loading.problems import Problem, SiteFileProblems

MAX_BYTES = 1_000_000
MAX_DEPTH = 24
MAX_NODES = 60_000
MAX_PROBLEMS = 50  # a file this broken is not helped by more

Place = tuple[int, int]  # line, column, both from 1
Key = tuple[Any, ...]

_INT = re.compile(r"[-+]?[0-9]{1,18}\Z")
_FLOAT = re.compile(r"[-+]?([0-9]{1,18}\.[0-9]{0,18}|\.[0-9]{1,18})([eE][-+]?[0-9]{1,2})?\Z")
_NULL = ("", "~", "null", "Null", "NULL")
_TRUE, _FALSE = ("true", "True", "TRUE"), ("false", "False", "FALSE")
# Characters that change how text is read without being seen: direction overrides, isolates, marks, joiners.
_HIDDEN = frozenset(
    "\u061c\u200b\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2060\u2066\u2067\u2068\u2069\ufeff\u00ad"
)


@dataclass(slots=True)
class Tree:
    """The plain values of a file (`data`) and the place of every node, by its path from the root.

    `key_places` holds where a mapping's key stands; `places` where its value begins.
    """

    file: str
    data: Any
    places: dict[Key, Place] = field(default_factory=dict)
    key_places: dict[Key, Place] = field(default_factory=dict)
    sha256: str = ""
    problems: list[Problem] = field(default_factory=list)  # what is wrong without making the rest unreadable
    bad: set[Key] = field(default_factory=set)  # values that can't be trusted because of it
    signed: Any = None  # the values as an approval signed them, where a later format adds some; else `data` is that

    def content(self) -> Any:
        """What an approval signs of this file: never what a later format was read into it."""
        return self.data if self.signed is None else self.signed

    def place(self, path: Key) -> Place:
        """The place of `path`, or of the nearest node above it."""
        path = tuple(path)
        while path and path not in self.places:
            path = path[:-1]
        return self.places.get(path, (1, 1))

    def problem(self, path: Key, message: str, expected: str = "", try_next: str = "") -> Problem:
        """A problem located at `path`."""
        line, column = self.place(path)
        return Problem(self.file, line, column, message, expected, try_next)


def read_tree(path: Path, shown: str = "") -> Tree:
    """Reads `path`; `shown` is how the file is named in messages. Raises SiteFileProblems for whatever is wrong."""
    tree = read_what_can_be(path, shown)
    if tree.problems:
        raise SiteFileProblems(tree.problems)
    return tree


def read_what_can_be(path: Path, shown: str = "") -> Tree:
    """The same, but raising only where the file can't be read to its end: what is wrong with single values stands in
    the tree's `problems`, and the values themselves in `bad`."""
    import hashlib

    shown = shown or str(path)

    def refuse(message: str, expected: str = "", try_next: str = "", line: int = 0, column: int = 0) -> SiteFileProblems:
        return SiteFileProblems([Problem(shown, line, column, message, expected, try_next)])

    try:
        if not path.is_file():
            raise refuse("There is no such file.", "a YAML file", "Check the name and the folder.")
        size = path.stat().st_size
        if size > MAX_BYTES:
            raise refuse(
                f"The file has {size} bytes.",
                f"at most {MAX_BYTES} bytes",
                "Split it into parts and include them.",
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
            f"The byte 0x{raw[error.start]:02x} isn't UTF-8.",
            "UTF-8 text",
            "Save the file as UTF-8.",
            line,
            column,
        ) from error
    directive = re.match(r"(?:\s*(?:#.*)?\n)*%", text)
    if directive:
        raise refuse(
            "A YAML directive stands at the start.", "a plain YAML 1.2 file", "Take the line with the % out.",
            text.count("\n", 0, directive.end()) + 1, 1,
        )
    hidden = _hidden_characters(text, shown)
    if hidden:  # a control character would end the reading; the values that hold one are out of the question anyway
        text = "".join("\N{MIDDLE DOT}" if _is_hidden(c) and c not in "\n\r\t" else c for c in text)
    try:
        tree = parse_what_can_be(text, shown, frozenset((p.line, p.column) for p in hidden))
    except SiteFileProblems as error:
        raise (SiteFileProblems(hidden) if hidden else error) from None
    tree.problems[:0] = hidden
    tree.sha256 = hashlib.sha256(raw).hexdigest()
    return tree


def _is_hidden(char: str) -> bool:
    return char in _HIDDEN or unicodedata.category(char) in ("Cc", "Co", "Cn", "Cs", "Zl", "Zp")


def _hidden_characters(text: str, shown: str) -> list[Problem]:
    found: list[Problem] = []
    if text.isascii() and text.isprintable():
        return found
    for number, line in enumerate(re.split(r"\r\n|\n|\r", text), 1):
        if line.isascii() and line.isprintable():
            continue
        for column, char in enumerate(line, 1):
            if char == "\t":
                continue
            if _is_hidden(char):
                name = unicodedata.name(char, "a control character").lower()
                found.append(
                    Problem(
                        shown,
                        number,
                        column,
                        f"The character U+{ord(char):04X} ({name}) is not allowed.",
                        "visible characters only",
                        "Delete it; it changes what a reader sees or hears.",
                    )
                )
                if len(found) >= MAX_PROBLEMS:
                    return found
    return found


@dataclass(slots=True)
class _Open:
    """A collection whose end hasn't been seen."""

    value: Any
    path: Key
    key: Any = None
    has_key: bool = False


def parse_tree(text: str, shown: str) -> Tree:
    """Text into a Tree. Raises SiteFileProblems with every structural problem of the text."""
    tree = parse_what_can_be(text, shown)
    if tree.problems:
        raise SiteFileProblems(tree.problems)
    return tree


def parse_what_can_be(text: str, shown: str, known: frozenset[Place] = frozenset()) -> Tree:
    """Text into a Tree with its problems. Raises SiteFileProblems where the text can't be read to its end. `known`:
    places of hidden characters that were named already. A fault of syntax takes out what stands around it."""
    read = _parse(text, shown, known)
    if not read.fault_line:
        return read.tree
    found = healed(text, read, lambda changed: _parse(changed, shown, known))
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


def _parse(text: str, shown: str, known: frozenset[Place]) -> Read[Tree]:
    """One reading, up to the first fault of syntax. Raises SiteFileProblems for what can't be read on from."""
    tree = Tree(shown, None)
    problems = tree.problems
    readable = True
    fault_line = 0
    stack: list[_Open] = []
    documents = nodes = 0
    root_seen = False

    def at(event: Any) -> Place:
        return event.start_mark.line + 1, event.start_mark.column + 1

    def complain(event: Any, message: str, expected: str = "", try_next: str = "") -> None:
        line, column = at(event)
        problems.append(Problem(shown, line, column, message, expected, try_next))

    def put(value: Any, event: Any) -> Key:
        """Hangs a value into the collection being read; returns its path."""
        nonlocal root_seen
        if not stack:
            root_seen = True
            tree.data = value
            tree.places[()] = at(event)
            return ()
        parent = stack[-1]
        if isinstance(parent.value, list):
            path = (*parent.path, len(parent.value))
            parent.value.append(value)
        else:
            path = (*parent.path, parent.key)
            parent.value[parent.key] = value
            parent.has_key = False
        tree.places[path] = at(event)
        return path

    def key(event: Any) -> Key:
        """Takes a scalar as the next key of the mapping being read; returns the path of its value."""
        parent = stack[-1]
        name = _scalar(event)
        if not isinstance(name, str) or not name:
            complain(
                event, f"The key {event.value!r} isn't a word.", "a name as the key", "Put it in quotes."
            )
            name = str(name)
        path = (*parent.path, name)
        if not isinstance(_scalar(event), str) or not name:
            tree.bad.add(path)
        if name in parent.value or path in tree.key_places:
            line = tree.key_places[path][0]
            tree.bad.add(path)
            complain(
                event,
                f"The key {name} stands twice here.",
                "each key once",
                f"It stands in line {line} already; delete or rename one.",
            )
        tree.key_places.setdefault(path, at(event))
        parent.key, parent.has_key = name, True
        return path

    def named(event: Any) -> bool:
        """Whether a hidden character of this value was named already."""
        first = (event.start_mark.line + 1, event.start_mark.column + 1)
        last = (event.end_mark.line + 1, event.end_mark.column + 1)
        return any(first <= place <= last for place in known)

    try:
        for event in YAML(typ="safe", pure=True).parse(text):
            if len(problems) >= MAX_PROBLEMS:
                readable = False
                break
            if isinstance(event, DocumentStartEvent):
                documents += 1
                if documents > 1:
                    complain(
                        event, "A second document starts here.", "one document in a file", "Delete the '---'."
                    )
                    readable = False  # which of the two is meant?
                    break
                continue
            if isinstance(event, AliasEvent):
                complain(
                    event,
                    f"The alias *{event.anchor} isn't allowed.",
                    "the value itself",
                    "Write it out, or use a part and include it.",
                )
                if stack and isinstance(stack[-1].value, dict) and not stack[-1].has_key:
                    readable = False
                    break
                tree.bad.add(put(None, event))
                continue
            tainted = False
            if isinstance(event, (ScalarEvent, MappingStartEvent, SequenceStartEvent)):
                nodes += 1
                if nodes > MAX_NODES:
                    complain(event, f"The file has more than {MAX_NODES} values.", "a smaller file")
                    readable = False
                    break
                hidden = next(
                    (ch for ch in getattr(event, "value", "") or "" if ch not in "\n\t" and _is_hidden(ch)),
                    "",
                )
                tainted = bool(hidden) or (isinstance(event, ScalarEvent) and bool(known) and named(event))
                # An escape such as "\\u202e" brings in what the text itself may not hold.
                if hidden and not named(event):
                    complain(
                        event,
                        f"The character U+{ord(hidden):04X} is not allowed.",
                        "visible characters only",
                        "Delete the escape.",
                    )
                if event.anchor is not None:
                    complain(
                        event,
                        f"The anchor &{event.anchor} isn't allowed.",
                        "the value itself",
                        "Write it out, or use a part and include it.",
                    )
                # In 0.19 an event's tag is an object for explicit tags and None otherwise.
                if getattr(event, "tag", None) is not None and str(event.tag) not in ("!", "None"):
                    tainted = True
                    complain(event, f"The tag {event.tag} isn't allowed.", "a plain value", "Delete the tag.")
            is_key = bool(stack) and isinstance(stack[-1].value, dict) and not stack[-1].has_key
            if isinstance(event, ScalarEvent):
                path = key(event) if is_key else put(_scalar(event), event)
                if tainted:
                    tree.bad.add(path)
            elif isinstance(event, (MappingStartEvent, SequenceStartEvent)):
                if is_key:
                    complain(
                        event,
                        "A list or mapping stands where a key should.",
                        "a name as the key",
                        "Text that begins with '{' or '[' must be in quotes.",
                    )
                    readable = False
                    break
                if len(stack) >= MAX_DEPTH:
                    complain(event, f"The nesting is deeper than {MAX_DEPTH} levels.", "a flatter file")
                    readable = False
                    break
                value: Any = {} if isinstance(event, MappingStartEvent) else []
                path = put(value, event)
                stack.append(_Open(value, path))
                if tainted:
                    tree.bad.add(path)
            elif isinstance(event, (MappingEndEvent, SequenceEndEvent)):
                stack.pop()
    except MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line, column = (mark.line + 1, mark.column + 1) if mark else (0, 0)
        inside = error.context_mark and re.search("scanning|flow", str(error.context))
        fault_line = error.context_mark.line + 1 if inside else line
        readable = bool(fault_line)
        cause = " ".join(str(p) for p in (error.context, error.problem) if p)
        hint = (
            "Use spaces, not tabs, to indent."
            if "\\t" in cause or "\t" in cause
            else "Check indentation, quotes and the colon after a key near this line."
        )
        problems.append(Problem(shown, line, column, f"This isn't YAML: {cause}.", "valid YAML 1.2", hint))
    except (YAMLError, ValueError, RecursionError) as error:
        readable = False
        problems.append(
            Problem(shown, 1, 1, f"This isn't YAML: {str(error).splitlines()[0]}.", "valid YAML 1.2")
        )
    if not problems and not root_seen:
        problems.append(Problem(shown, 1, 1, "The file is empty.", "format, kind and content"))
    if not readable or (not root_seen and not fault_line):
        raise SiteFileProblems(problems)
    return Read(tree, fault_line)


def _scalar(event: Any) -> Any:
    """A scalar event's value by the YAML 1.2 core schema; quoted and block text is always text."""
    text = event.value
    if event.style is not None and event.style != "":
        return text
    if text in _NULL:
        return None
    if text in _TRUE:
        return True
    if text in _FALSE:
        return False
    if _INT.match(text):
        return int(text)
    if _FLOAT.match(text):
        return float(text)
    return text
