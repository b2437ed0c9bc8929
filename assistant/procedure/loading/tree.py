"""The plain values of a site file, with the place of every node: what every later reading of it works on."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from assistant.procedure.loading.problems import Problem

Place = tuple[int, int]  # line, column, both from 1
Key = tuple[Any, ...]


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
