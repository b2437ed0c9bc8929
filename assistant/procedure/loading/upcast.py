"""Older formats of site files into the current one, step by step, on plain values and their places.

Format 1 (the first drafts) wrote the kind of a step as its key (`- wet: back_wall`), seconds as bare numbers
(`contact_s: 60`) and the file's kind as `type`. Nothing else reads format 1. Format 2 had no `urgency` on a mishap.
"""

from __future__ import annotations

from copy import deepcopy
from typing import Any

from assistant.procedure.loading.problems import SiteFileProblems
from assistant.procedure.loading.tree import Key, Tree

CURRENT = 3
# Format 2 didn't say what a mishap endangers. Until the site says it, the person is taken to be: that costs a wiping at
# most.
_URGENCY = "person"
# The key that carried the kind in format 1 -> (kind, the field its value goes to).
_STEP_KEYS = {
    "instruct": ("instruct", "say"),
    "wet": ("wet", "surface"),
    "wait": ("wait", "for"),
    "open": ("open", "opening"),
    "close": ("close", "opening"),
    "cycle": ("cycle", "cycle"),
    "move": ("move", "hands"),
    "check": ("check", "say"),
    "reading": ("reading", "gauge"),
    "note": ("note", "value"),
    "witness": ("witness", "say"),
    "include": ("include", "part"),
}
_SECONDS = {
    "contact_s": "contact",
    "wet_s": "wet_time",
    "expected_s": "expected",
    "duration_s": "duration",
    "max_open_s": "max_open",
}


def upcast(tree: Tree) -> Tree:
    """The tree in the current format. Raises SiteFileProblems for a newer one; a missing or senseless version is noted
    among the tree's problems, and the file read as if it were of the current one."""
    data = tree.data
    if not isinstance(data, dict):
        raise SiteFileProblems([tree.problem((), "The file isn't a mapping.", "format, kind and content")])
    version = data.get("format")
    if version is None:
        tree.problems.append(tree.problem((), "format is missing.", f"format: {CURRENT}"))
        version = data["format"] = CURRENT  # the rest is judged as if it were this format
    if not isinstance(version, int) or isinstance(version, bool) or version < 1:
        tree.problems.append(
            tree.problem(("format",), f"Format {version!r} isn't a version.", f"format: {CURRENT}")
        )
        version = data["format"] = CURRENT
    if version > CURRENT:
        raise SiteFileProblems(
            [
                tree.problem(
                    ("format",),
                    f"The file is written in format {version}; this program reads up to {CURRENT}.",
                    f"format: {CURRENT}",
                    "Use the newer program, or export the file in the older format.",
                )
            ]
        )
    if version == 1:
        tree = _from_1_to_2(tree)
    if version < 3:
        tree.signed = deepcopy(tree.data)
        _from_2_to_3(tree)
    return tree


def _from_2_to_3(tree: Tree) -> None:
    """Format 2 into 3, in place: every mishap says what it endangers."""
    mishaps = tree.data.get("mishaps")
    for mishap in mishaps if isinstance(mishaps, list) else ():
        if isinstance(mishap, dict):
            mishap.setdefault("urgency", _URGENCY)
    tree.data["format"] = 3


def _from_1_to_2(tree: Tree) -> Tree:
    """Format 1 into 2. New keys take the place of the ones they came from."""
    new = Tree(tree.file, None, dict(tree.places), dict(tree.key_places), tree.sha256, tree.problems, tree.bad)

    def renamed(path: Key, old: str, fresh: str) -> None:
        for table in (new.places, new.key_places):
            for known in [k for k in table if k[: len(path) + 1] == (*path, old)]:
                table[(*path, fresh, *known[len(path) + 1 :])] = table[known]

    def walk(value: Any, path: Key) -> Any:
        if isinstance(value, list):
            return [walk(v, (*path, i)) for i, v in enumerate(value)]
        if not isinstance(value, dict):
            return value
        out: dict[str, Any] = {}
        is_step = len(path) >= 2 and path[-2] == "steps" and isinstance(path[-1], int)
        kind_key = (
            next((k for k in _STEP_KEYS if k in value), None) if is_step and "do" not in value else None
        )
        for key, inner in value.items():
            if key == kind_key:
                kind, field = _STEP_KEYS[key]
                out["do"] = kind
                new.places[(*path, "do")] = tree.place((*path, key))
                if field == "for" and not isinstance(inner, list):
                    inner = [inner]
                renamed(path, key, field)
                out[field] = walk(inner, (*path, key))
            elif key in _SECONDS and isinstance(inner, (int, float)):
                renamed(path, key, _SECONDS[key])
                out[_SECONDS[key]] = f"{inner} s"
            elif key == "type" and not path:
                renamed(path, key, "kind")
                out["kind"] = inner
            else:
                out[key] = walk(inner, (*path, key))
        return out

    new.data = walk(tree.data, ())
    new.data["format"] = 2
    return new
