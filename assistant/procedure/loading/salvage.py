"""As much of a faulty file as can still be judged: every complaint once, then the model of what is left.

What a complaint points at is taken out, as little as will do: a field that may be missing, else the step or item
it belongs to. Complaints that only come from taking out are kept quiet.
"""

from __future__ import annotations

import difflib
import re
from typing import Any

from pydantic import ValidationError

from assistant.procedure.loading.gaps import Gaps
from assistant.procedure.loading.problems import Problem
from assistant.procedure.loading.tree import Key, Tree
from assistant.procedure.loading.validate import CONTEXT, Kept, adapter_for, attach, problem_of, real_path
from assistant.procedure.model.kinds import EnclosureFile

_ROUNDS = 12
# Texts a step must have, and fields a file must have: without one the rest can be judged, with this in its place.
_SAY = "-"
_STEP = {"id": "left-out", "do": "instruct", "say": _SAY}
STAND_INS: dict[str, dict[str, Any]] = {
    "procedure": {
        "format": 3, "title": "-", "revision": "-", "purpose": "other", "document": "-", "steps": [_STEP],
    },
    "part": {"format": 3, "revision": "-"},
    "enclosure": {
        "format": 3, "name": "-", "site": "-", "revision": "-", "hazardous": "yes", "maker_document": "-",
        "local_rules": "-", "wipe": {"faces": 8, "area_per_face": {"clean": "1 m2"}, "source": "-"},
    },
    "agents": {"format": 3, "revision": "-"},
}


def stand_in(procedure: Any) -> Any:
    """An enclosure's model with nothing in it, in the place of a file that can't be read: never judged itself."""
    made = {
        "kind": "enclosure", "id": procedure.enclosure, "agents": "left-out",
        "zones": [{"id": "left-out", "name": "-"}],
        "surfaces": [{"id": "left-out", "name": "-", "zone": "left-out", "material": "glass", "area": "1 m2"}],
    }
    model = adapter_for(EnclosureFile).validate_python({**STAND_INS["enclosure"], **made}, context=CONTEXT)
    return model.model_copy(update={"zones": [], "surfaces": []})


def salvage(kind: Any, data: Any, tree: Tree, gaps: Gaps, what: str, base: Key = ()) -> tuple[Any, Any, list[Problem]]:
    """(the model or None, its plain values, every problem) of `data` as `kind`, a file of kind `what`."""
    return _Salvage(kind, tree, gaps, what, base).run(data)


class _Salvage:
    def __init__(self, kind: Any, tree: Tree, gaps: Gaps, what: str, base: Key) -> None:
        self.kind, self.tree, self.gaps, self.what, self.base = kind, tree, gaps, what, base
        self.removed: dict[Key, set[str]] = {}  # a mapping -> names of what was taken out of it
        self.wrong_keys: set[Key] = set()  # mappings that had a key nobody knows
        self.problems: list[Problem] = []

    def run(self, given: Any) -> tuple[Any, Any, list[Problem]]:
        bad = () if self.base else tuple(self.tree.bad)  # a list within the file has lost them before
        if not bad:  # the usual case: nothing to take out, nothing to copy
            try:
                return self._model(given), given, []
            except ValidationError:
                pass
        data = _kept(given)
        for path in sorted(bad, key=_order, reverse=True):
            self._take(data, path)
        for _ in range(_ROUNDS):
            try:
                return self._model(data), data, self.problems
            except ValidationError as error:
                errors = error.errors(include_url=False)
            paths = [(e, real_path(tuple(e["loc"]), data)) for e in errors]
            extra = {p for e, p in paths if e["type"] == "extra_forbidden"}
            for e, path in paths:
                if not self._follows(e, path, extra):
                    self.problems.append(problem_of(e, self.kind, data, self.tree, self.base, _origin(data, path)))
            for e, path in sorted(paths, key=lambda x: _order(x[1]), reverse=True):
                if not path:
                    return None, data, self.problems
                self._mend(data, e, path)
        return None, data, self.problems

    def _model(self, data: Any) -> Any:
        model = adapter_for(self.kind).validate_python(data, context=CONTEXT)
        attach(model, data, self.tree.file, self.base, self.tree)
        return model

    def _follows(self, error: Any, path: Key, extra: set[Key]) -> bool:
        """Whether a complaint only comes from another: from what was taken out, or from a key written wrongly."""
        node = path[:-1]
        if error["type"] == "missing":
            wrong = [str(p[-1]) for p in extra if p[:-1] == node] + sorted(self.removed.get(node, ()))
            return str(path[-1]) in wrong or bool(difflib.get_close_matches(str(path[-1]), wrong, 1, 0.6))
        if error["type"] in ("too_short", "string_too_short") and path in self.removed:
            return True
        if error["type"] == "value_error" and path in self.wrong_keys:
            return True
        gone = self.removed.get(path, set()) | self.removed.get(node, set())
        return any(re.search(rf"(?<![a-z_]){re.escape(name)}(?![a-z_])", str(error["msg"])) for name in gone)

    def _mend(self, data: Any, error: Any, path: Key) -> None:
        node, name = path[:-1], path[-1]
        stand_in = None
        if not node and not self.base:
            stem = self.tree.file.rsplit("/", 1)[-1].rsplit(".", 1)[0]
            stand_in = stem if name == "id" else STAND_INS[self.what].get(name)
        elif name == "say" and len(node) > 1 and node[-2] == "steps":
            stand_in = _SAY
        if stand_in is None:
            where = node if error["type"] == "missing" else path
            self._take(data, where, unknown_key=error["type"] == "extra_forbidden")
            return
        self._note(data, path)
        _at(data, node)[name] = _kept(stand_in)
        if name == "steps":
            self.gaps.steps.add((self.tree.file, ("steps", 0)))

    def _take(self, data: Any, path: Key, *, unknown_key: bool = False) -> None:
        holder = _at(data, path[:-1]) if path else None
        if holder is None or not _has(holder, path[-1]):
            return
        self._note(data, path, unknown_key=unknown_key)
        if unknown_key:
            self.wrong_keys.add(path[:-1])
        self.removed.setdefault(path[:-1], set()).add(str(path[-1]))
        if isinstance(holder, Kept):
            del holder.at[path[-1]]
        del holder[path[-1]]

    def _note(self, data: Any, path: Key, *, unknown_key: bool = False) -> None:
        real = (*self.base, *_origin(data, path))
        self.gaps.note(self.what, self.tree.file, real, self.tree.data, unknown_key=unknown_key)


def _order(path: Key) -> tuple[tuple[bool, int, str], ...]:
    return tuple((isinstance(p, int), p if isinstance(p, int) else 0, str(p)) for p in path)


def _kept(data: Any) -> Any:
    """A copy whose lists remember which item stood where. As deep as the reader lets a file be, no deeper."""
    if isinstance(data, list):
        out = Kept(_kept(v) for v in data)
        out.at = list(data.at) if isinstance(data, Kept) else list(range(len(data)))
        return out
    if isinstance(data, dict):
        return {k: _kept(v) for k, v in data.items()}
    return data


def _origin(data: Any, path: Key) -> Key:
    """A path into what is left, as a path into the file."""
    out: list[Any] = []
    for part in path:
        known = isinstance(data, Kept) and isinstance(part, int) and part < len(data.at)
        out.append(data.at[part] if known else part)
        data = _at(data, (part,))
    return tuple(out)


def _has(holder: Any, part: Any) -> bool:
    if isinstance(holder, dict):
        return part in holder
    return isinstance(holder, list) and isinstance(part, int) and part < len(holder)


def _at(data: Any, path: Key) -> Any:
    for part in path:
        if not _has(data, part):
            return None
        data = data[part]
    return data
