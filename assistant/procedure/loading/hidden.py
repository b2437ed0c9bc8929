"""Characters that a reader doesn't see: control characters, and those that change how text is read."""

from __future__ import annotations

import re
import unicodedata

from assistant.procedure.loading.problems import Problem

MAX_PROBLEMS = 50  # a file this broken is not helped by more

# Characters that change how text is read without being seen: direction overrides, isolates, marks, joiners.
_HIDDEN = frozenset(
    "\u061c\u200b\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2060\u2066\u2067\u2068\u2069\ufeff\u00ad"
)


def is_hidden(char: str) -> bool:
    """Whether `char` has no place in a site file (line ends and tabs are the caller's to allow)."""
    return char in _HIDDEN or unicodedata.category(char) in ("Cc", "Co", "Cn", "Cs", "Zl", "Zp")


def hidden_characters(text: str, shown: str) -> list[Problem]:
    """Every one in the text, each with its place, up to as many as help."""
    if text.isascii() and text.isprintable():
        return []
    found: list[Problem] = []
    for number, line in enumerate(re.split(r"\r\n|\n|\r", text), 1):
        if line.isascii() and line.isprintable():
            continue
        for column, char in enumerate(line, 1):
            if char == "\t" or not is_hidden(char):
                continue
            name = unicodedata.name(char, "a control character").lower()
            found.append(Problem(
                shown, number, column, f"The character U+{ord(char):04X} ({name}) is not allowed.",
                "visible characters only", "Delete it; it changes what a reader sees or hears.",
            ))
            if len(found) >= MAX_PROBLEMS:
                return found
    return found
