"""What is wrong with a site file: located problems, collected so that one run names all of them."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from assistant.errors import SiteFileError


@dataclass(frozen=True, slots=True, order=True)
class Problem:
    """One thing wrong at a place. `line` and `column` count from 1; 0 where a file has no such place."""

    file: str
    line: int
    column: int
    message: str
    expected: str = ""
    try_next: str = ""

    @property
    def where(self) -> str:
        """file:line:column, or only the file where there is no line."""
        return f"{self.file}:{self.line}:{self.column}" if self.line else self.file


class SiteFileProblems(SiteFileError):
    """Every problem found in the site files of one load; `problems` holds them in the order of the files."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        if not problems:
            raise ValueError("an error without a problem")
        self.problems = tuple(sorted(set(problems)))
        first = self.problems[0]
        super().__init__(first.message, where=first.where, expected=first.expected, try_next=first.try_next)

    def format_message(self) -> str:
        """All problems, one block each, in the order of files and lines."""
        blocks = []
        for p in self.problems:
            blocks.append(
                SiteFileError(
                    p.message, where=p.where, expected=p.expected, try_next=p.try_next
                ).format_message()
            )
        return "\n".join(blocks)


def a_or_an(noun: str) -> str:
    """The noun with its article: "an agent", "a surface"."""
    return f"an {noun}" if noun[:1].lower() in tuple("aeiou") else f"a {noun}"


def nearest(name: str, valid: Iterable[str]) -> str:
    """A suggestion sentence naming the valid names closest to `name`, or listing a few, or ""."""
    names = sorted({v for v in valid if v})
    begun = [n for n in names if len(name) > 2 and n.startswith(name)]
    close = list(dict.fromkeys((*begun, *difflib.get_close_matches(name, names, n=3, cutoff=0.5))))[:3]
    if close:
        return "Did you mean " + " or ".join(close) + "?"
    if names:
        shown = ", ".join(names[:8])
        return f"Use one of: {shown}{f' and {len(names) - 8} more' if len(names) > 8 else ''}."
    return ""
