"""Finds and reads site files by id: `enclosures/`, `agents/`, `parts/`, and procedures anywhere else below.

Every file's name is its id, so that a name in one file leads to the other without reading all of them.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from assistant.procedure.loading.gaps import Gaps
from assistant.procedure.loading.problems import Problem, SiteFileProblems, nearest
from assistant.procedure.loading.salvage import salvage
from assistant.procedure.loading.tree import Tree
from assistant.procedure.loading.upcast import upcast
from assistant.procedure.loading.yaml_tree import read_what_can_be
from assistant.procedure.model.kinds import FILE_KINDS, Node

_SHELVES = {"enclosure": "enclosures", "agents": "agents", "part": "parts"}
_MAX_FILES = 2000


def default_folder() -> Path:
    """The `procedures` folder: of the working folder if there is one, else of the checkout."""
    here = Path.cwd() / "procedures"
    if here.is_dir():
        return here
    return Path(__file__).resolve().parents[3] / "procedures"


@dataclass(slots=True)
class Site:
    """The site files below one folder, read at most once each. Problems are collected in `problems`."""

    folder: Path
    trees: dict[Path, Tree] = field(default_factory=dict)
    models: dict[Path, Any] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    kept: dict[str, Any] = field(default_factory=dict)  # file -> its values without what is faulty
    gaps: Gaps = field(default_factory=Gaps)

    def names(self, kind: str) -> dict[str, Path]:
        """Ids of a kind -> file. A link that leads out of the folder isn't followed."""
        root = self.folder.resolve()
        shelf = _SHELVES.get(kind)
        found: dict[str, Path] = {}
        base = root / shelf if shelf else root
        for count, path in enumerate(sorted(base.rglob("*.yaml")) if base.is_dir() else ()):
            if count >= _MAX_FILES:
                break
            if shelf is None and path.relative_to(root).parts[0] in _SHELVES.values():
                continue
            if path.resolve().is_relative_to(root):
                found.setdefault(path.stem, path)
        return found

    def shown(self, path: Path) -> str:
        """How messages name the file: relative to the folder that holds `procedures`, if it lies inside."""
        root = self.folder.resolve()
        resolved = path.resolve()
        if resolved.is_relative_to(root.parent):
            return resolved.relative_to(root.parent).as_posix()
        return str(path)

    def read(self, path: Path, kind: str) -> Any:
        """The model of as much of `path` as can be judged, or None; its problems and gaps are noted."""
        path = path.resolve()
        if path in self.models:
            return self.models[path]
        self.models[path] = None
        try:
            tree = upcast(read_what_can_be(path, self.shown(path)))
        except SiteFileProblems as error:
            self.problems.extend(error.problems)
            return None
        self.trees[path] = tree
        self.problems.extend(tree.problems)
        found = tree.data.get("kind")
        if found not in FILE_KINDS:
            self.problems.append(
                tree.problem(
                    ("kind",),
                    f"The kind of file {found!r} isn't known." if found else "kind is missing.",
                    ", ".join(FILE_KINDS),
                    nearest(str(found or ""), FILE_KINDS),
                )
            )
            tree.data["kind"] = found = kind  # the one who asked says what it should be
        if found != kind:
            self.problems.append(tree.problem(("kind",), f"This is a file of kind {found}.", f"kind: {kind}",
                                              "Name a procedure that uses this file."))
            return None
        model, self.kept[tree.file], problems = salvage(FILE_KINDS[kind], tree.data, tree, self.gaps, kind)
        self.problems.extend(problems)
        if model is not None and model.id != path.stem:
            self.problems.append(
                tree.problem(
                    ("id",),
                    f"The id {model.id} isn't the file's name {path.stem}.",
                    f"id: {path.stem}",
                    "Rename the file or change the id.",
                )
            )
        self.models[path] = model
        return model

    def find(self, kind: str, name: str, asked_by: Node | None = None, field_name: str = "") -> Any:
        """The model of `kind` called `name`, or None after noting a problem at the place that asked."""
        table = self.names(kind)
        if name in table:
            return self.read(table[name], kind)
        message = f"There is no {kind} file called {name}."
        expected = f"a file {_SHELVES.get(kind, '')}/{name}.yaml in {self.folder.name}/".replace(" /", " ")
        if asked_by is None:
            self.problems.append(Problem(name, 0, 0, message, expected, nearest(name, table)))
        else:
            self.problems.append(self.problem(asked_by, field_name, message, expected, nearest(name, table)))
        return None

    def tree_of(self, node: Node) -> Tree | None:
        """The tree a node was read from."""
        return next((t for t in self.trees.values() if t.file == node.file), None)

    def problem(
        self, node: Node, field_name: str, message: str, expected: str = "", try_next: str = ""
    ) -> Problem:
        """A problem at a field of a node (or at the node itself)."""
        tree = self.tree_of(node)
        if tree is None:
            return Problem(node.file, node.line, 1 if node.line else 0, message, expected, try_next)
        path = (*node.path, *field_name.split(".")) if field_name else node.path
        path = tuple(int(p) if isinstance(p, str) and p.isdigit() else p for p in path)
        return tree.problem(path, message, expected, try_next)
