"""One reading of a text: the parser's events, one by one, into a tree; whatever a site file never needs is a problem.

Without recursion, so that neither depth nor size of a hostile file can hurt.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
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

from assistant.procedure.loading.healing import Read
from assistant.procedure.loading.hidden import MAX_PROBLEMS, is_hidden
from assistant.procedure.loading.problems import Problem, SiteFileProblems
from assistant.procedure.loading.tree import Key, Place, Tree

MAX_DEPTH = 24
MAX_NODES = 60_000

_INT = re.compile(r"[-+]?[0-9]{1,18}\Z")
_FLOAT = re.compile(r"[-+]?([0-9]{1,18}\.[0-9]{0,18}|\.[0-9]{1,18})([eE][-+]?[0-9]{1,2})?\Z")
_NULL = ("", "~", "null", "Null", "NULL")
_TRUE, _FALSE = ("true", "True", "TRUE"), ("false", "False", "FALSE")


def read_events(text: str, shown: str, known: frozenset[Place]) -> Read[Tree]:
    """One reading, up to the first fault of syntax. Raises SiteFileProblems for what can't be read on from."""
    reading, fault_line = _Reading(shown, known), 0
    try:
        for event in YAML(typ="safe", pure=True).parse(text):
            reading.take(event)
    except MarkedYAMLError as error:
        fault_line = reading.broken_off(error)
    except (YAMLError, ValueError, RecursionError) as error:
        reading.problem((1, 1), f"This isn't YAML: {str(error).splitlines()[0]}.", "valid YAML 1.2")
        raise SiteFileProblems(reading.tree.problems) from error
    if not reading.tree.problems and not reading.root_seen:
        reading.problem((1, 1), "The file is empty.", "format, kind and content")
    if not reading.root_seen and not fault_line:
        raise SiteFileProblems(reading.tree.problems)
    return Read(reading.tree, fault_line)


@dataclass(slots=True)
class _Unfinished:
    """A collection whose end hasn't been seen."""

    value: Any
    path: Key
    key: Any = None
    has_key: bool = False


class _Reading:
    """What has been read so far. `known`: places of hidden characters that were named already."""

    def __init__(self, shown: str, known: frozenset[Place]) -> None:
        self.tree = Tree(shown, None)
        self.known = known
        self.stack: list[_Unfinished] = []
        self.documents = self.nodes = 0
        self.root_seen = False

    def take(self, event: Any) -> None:
        """One event. Raises SiteFileProblems where what follows it can't be told."""
        if len(self.tree.problems) >= MAX_PROBLEMS:
            raise SiteFileProblems(self.tree.problems)
        if isinstance(event, DocumentStartEvent):
            self.documents += 1
            if self.documents > 1:  # which of the two is meant?
                self._refuse(event, "A second document starts here.", "one document in a file", "Delete the '---'.")
        elif isinstance(event, AliasEvent):
            self._alias(event)
        elif isinstance(event, ScalarEvent):
            tainted = self._tainted(event)
            self._mark(self._key(event) if self._at_key() else self._put(_scalar(event), event), tainted)
        elif isinstance(event, (MappingStartEvent, SequenceStartEvent)):
            self._begin(event)
        elif isinstance(event, (MappingEndEvent, SequenceEndEvent)):
            self.stack.pop()

    def broken_off(self, error: MarkedYAMLError) -> int:
        """Notes a fault of syntax; returns the line where the trouble begins."""
        mark = error.problem_mark or error.context_mark
        line, column = (mark.line + 1, mark.column + 1) if mark else (0, 0)
        inside = error.context_mark and re.search("scanning|flow", str(error.context))
        cause = " ".join(str(p) for p in (error.context, error.problem) if p)
        hint = (
            "Use spaces, not tabs, to indent."
            if "\\t" in cause or "\t" in cause
            else "Check indentation, quotes and the colon after a key near this line."
        )
        self.problem((line, column), f"This isn't YAML: {cause}.", "valid YAML 1.2", hint)
        fault_line = error.context_mark.line + 1 if inside else line
        if not fault_line:
            raise SiteFileProblems(self.tree.problems) from error
        return fault_line

    def problem(self, place: Place, message: str, expected: str = "", try_next: str = "") -> None:
        """Notes what is wrong at `place`."""
        self.tree.problems.append(Problem(self.tree.file, *place, message, expected, try_next))

    def _complain(self, event: Any, message: str, expected: str = "", try_next: str = "") -> None:
        self.problem(_at(event), message, expected, try_next)

    def _refuse(self, event: Any, message: str, expected: str, try_next: str = "") -> None:
        """What nothing can be read on from."""
        self._complain(event, message, expected, try_next)
        raise SiteFileProblems(self.tree.problems)

    def _mark(self, path: Key, tainted: bool) -> None:
        if tainted:
            self.tree.bad.add(path)

    def _at_key(self) -> bool:
        """Whether a mapping waits for its next key."""
        return bool(self.stack) and isinstance(self.stack[-1].value, dict) and not self.stack[-1].has_key

    def _alias(self, event: Any) -> None:
        self._complain(
            event, f"The alias *{event.anchor} isn't allowed.", "the value itself",
            "Write it out, or use a part and include it.",
        )
        if self._at_key():
            raise SiteFileProblems(self.tree.problems)
        self.tree.bad.add(self._put(None, event))

    def _begin(self, event: Any) -> None:
        """A list or mapping begins."""
        tainted = self._tainted(event)
        if self._at_key():
            self._refuse(
                event, "A list or mapping stands where a key should.", "a name as the key",
                "Text that begins with '{' or '[' must be in quotes.",
            )
        if len(self.stack) >= MAX_DEPTH:
            self._refuse(event, f"The nesting is deeper than {MAX_DEPTH} levels.", "a flatter file")
        value: Any = {} if isinstance(event, MappingStartEvent) else []
        path = self._put(value, event)
        self.stack.append(_Unfinished(value, path))
        self._mark(path, tainted)

    def _tainted(self, event: Any) -> bool:
        """Whether this node's value can't be trusted; what is wrong with it is noted."""
        self.nodes += 1
        if self.nodes > MAX_NODES:
            self._refuse(event, f"The file has more than {MAX_NODES} values.", "a smaller file")
        hidden = next((c for c in getattr(event, "value", "") or "" if c not in "\n\t" and is_hidden(c)), "")
        named = bool(self.known) and self._named(event)
        # An escape such as "\\u202e" brings in what the text itself may not hold.
        if hidden and not named:
            self._complain(
                event, f"The character U+{ord(hidden):04X} is not allowed.", "visible characters only", "Delete the escape."
            )
        if event.anchor is not None:
            self._complain(
                event, f"The anchor &{event.anchor} isn't allowed.", "the value itself",
                "Write it out, or use a part and include it.",
            )
        # In 0.19 an event's tag is an object for explicit tags and None otherwise.
        tagged = getattr(event, "tag", None) is not None and str(event.tag) not in ("!", "None")
        if tagged:
            self._complain(event, f"The tag {event.tag} isn't allowed.", "a plain value", "Delete the tag.")
        return tagged or bool(hidden) or (isinstance(event, ScalarEvent) and named)

    def _named(self, event: Any) -> bool:
        """Whether a hidden character of this value was named already."""
        last = (event.end_mark.line + 1, event.end_mark.column + 1)
        return any(_at(event) <= place <= last for place in self.known)

    def _put(self, value: Any, event: Any) -> Key:
        """Hangs a value into the collection being read; returns its path."""
        path: Key = ()
        if not self.stack:
            self.root_seen = True
            self.tree.data = value
        else:
            parent = self.stack[-1]
            if isinstance(parent.value, list):
                path = (*parent.path, len(parent.value))
                parent.value.append(value)
            else:
                path = (*parent.path, parent.key)
                parent.value[parent.key] = value
                parent.has_key = False
        self.tree.places[path] = _at(event)
        return path

    def _key(self, event: Any) -> Key:
        """Takes a scalar as the next key of the mapping being read; returns the path of its value."""
        parent, tree, name = self.stack[-1], self.tree, _scalar(event)
        fits = isinstance(name, str) and bool(name)
        if not fits:
            self._complain(event, f"The key {event.value!r} isn't a word.", "a name as the key", "Put it in quotes.")
            name = str(name)
        path = (*parent.path, name)
        self._mark(path, not fits)
        if name in parent.value or path in tree.key_places:
            line = tree.key_places[path][0]
            tree.bad.add(path)
            self._complain(
                event, f"The key {name} stands twice here.", "each key once",
                f"It stands in line {line} already; delete or rename one.",
            )
        tree.key_places.setdefault(path, _at(event))
        parent.key, parent.has_key = name, True
        return path


def _at(event: Any) -> Place:
    return event.start_mark.line + 1, event.start_mark.column + 1


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
