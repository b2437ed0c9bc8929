"""What of a site's files can't be judged: steps and things left out because of a fault, and what that leaves open.

A fault is said once. Whatever hangs on what is left out is neither guessed nor complained about.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from assistant.procedure.loading.tree import Key

ANYTHING = "anything"  # a step whose kind nobody knows, or a whole part: no rule about the main line can be judged
LINE, BRANCH, MISHAPS, TIME = "line", "branch", "mishaps", "time"
# Lists of an enclosure's or agents' file -> what messages call one of their items.
SHELVES = {
    "zones": "zone", "surfaces": "surface", "openings": "opening", "cycles": "cycle", "machines": "machine",
    "gauges": "gauge", "markings": "marking", "agents": "agent", "tools": "tool", "protective_equipment": "tool",
}
KINDS = frozenset(
    (
        "instruct", "wet", "wait", "open", "close", "cycle", "machine", "move", "check", "reading", "note", "witness",
        "patch",
    )
)
# Fields of a step that change nothing of what it does: without them the rest of the line can still be judged.
SOFT = frozenset(
    ("say", "brief", "why", "caution", "look_for", "claim", "policy", "expected", "floor", "impossible", "within")
)
_TIMED = frozenset(("say", "expected", "within"))


@dataclass(slots=True)
class Gaps:
    """`aspects`: what the gaps leave open, in the words that rules use for what they need (`rules/needs.py`).
    `lost`: what kind of thing -> ids that stand in a file but can't be used. `nameless`: kinds of which something was
    left out whose id can't be read. `steps`: (file, path) of steps that are left out. `unsure`: nodes that lost a
    field, at which nothing more is found."""

    aspects: set[str] = field(default_factory=set)
    lost: dict[str, set[str]] = field(default_factory=dict)
    nameless: set[str] = field(default_factory=set)
    steps: set[tuple[str, Key]] = field(default_factory=set)
    unsure: set[tuple[str, Key]] = field(default_factory=set)

    def lose(self, what: str, name: Any) -> None:
        """Something of a kind is left out; `name` where it can be read."""
        if isinstance(name, str) and name:
            self.lost.setdefault(what, set()).add(name)
        else:
            self.nameless.add(what)

    def is_lost(self, what: str, name: str) -> bool:
        """Whether a name nobody knows may be that of something left out."""
        kinds = what.split(" or ")
        return any(
            k in self.nameless or name in self.lost.get(k, ()) or (k == "step" and ANYTHING in self.aspects)
            or (k == "step" and name.rsplit(".", 1)[-1] in self.lost.get(k, ()))
            for k in kinds
        )

    def any_lost(self, what: str) -> bool:
        """Whether anything of a kind was left out."""
        return what in self.nameless or bool(self.lost.get(what))

    def leaves_out(self, node: Any) -> bool:
        """Whether a step, or an include, is left out because of its own fault."""
        return (node.file, node.path) in self.steps

    def lose_step(self, raw: Any, *, main: bool = True, branch: bool = False) -> None:
        """A step's effects are unknown: what it does to hands, doors, contacts, roles."""
        known = isinstance(raw, dict) and raw.get("do") in KINDS
        if branch:
            self.aspects.add(BRANCH)
        if main:
            self.aspects |= {LINE, TIME}
            kind = raw["do"] if known else ANYTHING
            self.aspects.add(kind)
            if known and "role" in raw:
                self.aspects.add("role")

    def blames(self, file: str, path: Key) -> bool:
        """Whether a node is, or lies within, one that lost a field."""
        return any((file, path[:n]) in self.unsure for n in range(len(path) + 1))

    def note_text(self, node: Any, field_name: str) -> None:
        """A text of a step can't be said as it stands."""
        self.unsure.add((node.file, node.path))
        if field_name in _TIMED:
            self.aspects.add(TIME)

    def note(self, kind: str, file: str, path: Key, data: Any, *, unknown_key: bool = False) -> None:
        """Something at `path` of a file of `kind`, whose values are `data`, was left out."""
        top = path[0] if path else ""
        if kind in ("procedure", "part") and top in ("steps", "mishaps"):
            self._in_steps(kind, file, path, data, unknown_key)
        elif kind == "part" and top == "parameters":
            self.lose("parameter", None)
        elif kind == "procedure" and top == "options" and len(path) > 1:
            self.lose("option", _field(_at(data, path[:2]), "id"))
            self.aspects.add("procedure.options")
        elif kind in ("enclosure", "agents") and top in SHELVES and len(path) > 1:
            self.steps.add((file, path[:2]))
            self.lose_item(top, _field(_at(data, path[:2]), "id"))
        elif top in SHELVES:
            self.lose_item(top, None)
        else:
            if top == "mishap_parts":
                self.steps.add((file, path[:2]))
                self.aspects |= {MISHAPS, BRANCH}
                self.nameless.add("mishap")
            self.aspects.add(f"{kind}.{top}")

    def lose_item(self, shelf: str, name: Any) -> None:
        """An item of an enclosure's or agents' list is left out; wetting by zone may lack a surface then."""
        self.lose(SHELVES[shelf], name)
        self.aspects.add(shelf)
        if shelf == "surfaces":
            self.aspects |= {"wet", LINE, TIME}

    def lose_file(self, kind: str, fields: Iterable[str]) -> None:
        """A whole file of `kind` is missing or can't be read: nothing that rests on any of its `fields` is judged."""
        self.aspects.add(f"{kind} file")
        for name in fields:
            self.aspects.add(f"{kind}.{name}")
            if name in SHELVES:
                self.lose_item(name, None)

    def _in_steps(self, kind: str, file: str, path: Key, data: Any, unknown_key: bool) -> None:
        ends = [i + 2 for i in range(len(path) - 1) if path[i] == "steps" and isinstance(path[i + 1], int)]
        in_branch = path[0] == "mishaps"
        if not ends:  # a whole list of steps, or a mishap's own field
            if in_branch:
                whole = path[:2]
                self.lose("mishap", _field(_at(data, whole), "id") if len(whole) == 2 else None)
                self.steps.add((file, whole))
                self.aspects |= {MISHAPS, BRANCH}
            else:
                self.aspects |= {ANYTHING, LINE, TIME}
            return
        at = path[: ends[-1]]
        raw = _at(data, at)
        name = path[len(at)] if len(path) > len(at) else ""
        self.unsure.add((file, at))
        if name in SOFT:
            if name in _TIMED:
                self.aspects.add(TIME)
            if name == "why":
                self.aspects.add("why")
            return
        self.steps.add((file, at))
        self.lose("step", _field(raw, "id"))
        # A part's steps may stand in the main line or in a branch.
        self.lose_step(raw, main=not in_branch or kind == "part", branch=in_branch or kind == "part")
        if unknown_key:
            self.aspects.add("role")


def _at(data: Any, path: Key) -> Any:
    for part in path:
        try:
            data = data[part]
        except (KeyError, IndexError, TypeError):
            return None
    return data


def _field(data: Any, name: str) -> Any:
    return data.get(name) if isinstance(data, dict) else None
