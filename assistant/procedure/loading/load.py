"""Loads a procedure with all it needs: enclosure, agents, parts. Every problem of every file in one error."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import rfc8785

from assistant.procedure.compiling.expand import FlatMishap, FlatStep, Unfolder
from assistant.procedure.loading.gaps import SHELVES
from assistant.procedure.loading.names import Names
from assistant.procedure.loading.problems import Problem, SiteFileProblems, nearest
from assistant.procedure.loading.salvage import stand_in
from assistant.procedure.loading.source import Site, default_folder
from assistant.procedure.model.kinds import AgentsFile, EnclosureFile, Node, ProcedureFile


@dataclass(frozen=True, slots=True)
class Loaded:
    """One procedure, unfolded, with every file it came from."""

    site: Site
    path: Path
    procedure: ProcedureFile
    enclosure: EnclosureFile
    agents: AgentsFile
    steps: tuple[FlatStep, ...]
    mishaps: tuple[FlatMishap, ...]

    def place(self, node: Node, field: str = "") -> tuple[str, int, int]:
        """(file, line, column) of a node or of one of its fields."""
        p = self.site.problem(node, field, "")
        return p.file, p.line, p.column

    def files(self) -> tuple[tuple[str, str], ...]:
        """(file name, sha256 of its bytes) of every file used, in the order of names."""
        return tuple(sorted((t.file, t.sha256) for t in self.site.trees.values()))

    def canonical(self) -> bytes:
        """What an approval signs: the values of every file used, without comments and layout (RFC 8785)."""
        ids = {f"{t.data['kind']}:{t.data['id']}": t.content() for t in self.site.trees.values()}
        return rfc8785.dumps({"gauntlet": "procedure", "files": ids})


def procedure_names(folder: Path | None = None) -> list[str]:
    """Ids of the procedures in `folder` (the default folder when None), in order."""
    return sorted(Site(Path(folder) if folder else default_folder()).names("procedure"))


@dataclass(frozen=True, slots=True)
class Partial:
    """What of a procedure can be judged although its files have faults: None where nothing is left."""

    loaded: Loaded | None
    site: Site


def load_procedure(name_or_path: str | Path, folder: Path | None = None) -> Loaded:
    """The procedure with this id, or in this file. Raises SiteFileProblems naming everything that is wrong."""
    found = load_what_can_be(name_or_path, folder)
    if found.site.problems or found.loaded is None:
        raise SiteFileProblems(found.site.problems)
    return found.loaded


def load_what_can_be(name_or_path: str | Path, folder: Path | None = None) -> Partial:
    """The same without what has a fault; the faults are the site's `problems`. Never to be run, only to be judged.
    Raises SiteFileProblems where there is no such procedure."""
    folder = Path(folder) if folder else None
    text = str(name_or_path)
    looks_like_path = text.endswith((".yaml", ".yml")) or "/" in text or "\\" in text
    if looks_like_path:
        path = Path(text)
        site = Site(folder or _folder_of(path))
        if not path.exists():
            raise SiteFileProblems(
                [
                    Problem(
                        text,
                        0,
                        0,
                        "There is no such file.",
                        "a procedure file",
                        nearest(path.stem, site.names("procedure")),
                    )
                ]
            )
    else:
        site = Site(folder or default_folder())
        table = site.names("procedure")
        if text not in table:
            raise SiteFileProblems(
                [
                    Problem(
                        text[:80] or "(no name)",
                        0,
                        0,
                        "There is no procedure of that name.",
                        f"a procedure in {site.folder.name}/",
                        nearest(text[:80], table),
                    )
                ]
            )
        path = table[text]
    return _load(site, path)


def _folder_of(path: Path) -> Path:
    """The site folder a file belongs to: the nearest folder above it that has `enclosures`, else the default."""
    for folder in path.resolve().parents:
        if (folder / "enclosures").is_dir():
            return folder
    return default_folder()


def _load(site: Site, path: Path) -> Partial:
    from assistant.procedure.compiling.spoken import placeholder_problems

    procedure = site.read(path, "procedure")
    if procedure is None:
        return Partial(None, site)
    enclosure = site.find("enclosure", procedure.enclosure, procedure, "enclosure")
    agents = site.find("agents", enclosure.agents, enclosure, "agents") if enclosure is not None else None
    if enclosure is None:  # its own names can't be judged; those of steps, options and parts can, and rules about them
        enclosure = stand_in(procedure)
        site.gaps.lose_file("enclosure", EnclosureFile.model_fields)
    if agents is None:
        agents = AgentsFile.model_construct(agents=[])
        site.gaps.lose_item("agents", None)
    unfolder = Unfolder(site, enclosure)
    steps = unfolder.steps(procedure.steps)
    mishaps = unfolder.mishaps(procedure)
    names = Names(site, enclosure, agents)
    names.check_enclosure()
    good, branches = names.check_procedure(procedure, steps, mishaps)
    if not steps and not site.problems:
        site.problems.append(
            site.problem(procedure, "steps", "The procedure has no step.", "at least one step")
        )
    loaded = Loaded(
        site, path, procedure, _without_gaps(site, enclosure), _without_gaps(site, agents), tuple(good), tuple(branches)
    )
    site.problems.extend(placeholder_problems(loaded))
    return Partial(loaded, site)


def _without_gaps(site: Site, file: Any) -> Any:
    """An enclosure's or agents' file without the items that have a fault."""
    kept = {}
    for shelf, what in SHELVES.items():
        items = getattr(file, shelf, None)
        if isinstance(items, list):
            lost = site.gaps.lost.get(what, ())
            kept[shelf] = [x for x in items if x.id not in lost and not site.gaps.leaves_out(x)]
    return file.model_copy(update=kept) if site.problems else file
