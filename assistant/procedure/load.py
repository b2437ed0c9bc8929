"""Loads a procedure with all it needs: enclosure, agents, parts. Every problem of every file in one error."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import rfc8785

from assistant.procedure.expand import FlatMishap, FlatStep, Unfolder
from assistant.procedure.model import AgentsFile, EnclosureFile, Node, ProcedureFile
from assistant.procedure.names import Names
from assistant.procedure.problems import Problem, SiteFileProblems, nearest
from assistant.procedure.source import Site, default_folder


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
        ids = {f"{t.data['kind']}:{t.data['id']}": t.data for t in self.site.trees.values()}
        return rfc8785.dumps({"gauntlet": "procedure", "files": ids})


def procedure_names(folder: Path | None = None) -> list[str]:
    """Ids of the procedures in `folder` (the default folder when None), in order."""
    return sorted(Site(Path(folder) if folder else default_folder()).names("procedure"))


def load_procedure(name_or_path: str | Path, folder: Path | None = None) -> Loaded:
    """The procedure with this id, or in this file. Raises SiteFileProblems naming everything that is wrong."""
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


def _load(site: Site, path: Path) -> Loaded:
    procedure = site.read(path, "procedure")
    enclosure = agents = None
    if procedure is not None:
        enclosure = site.find("enclosure", procedure.enclosure, procedure, "enclosure")
    if enclosure is not None:
        agents = site.find("agents", enclosure.agents, enclosure, "agents")
    if procedure is None or enclosure is None or agents is None:
        raise SiteFileProblems(site.problems)
    unfolder = Unfolder(site, enclosure)
    steps = unfolder.steps(procedure.steps)
    mishaps = unfolder.mishaps(procedure)
    names = Names(site, enclosure, agents)
    names.check_enclosure()
    names.check_procedure(procedure, steps, mishaps)
    if not steps and not site.problems:
        site.problems.append(
            site.problem(procedure, "steps", "The procedure has no step.", "at least one step")
        )
    if site.problems:
        raise SiteFileProblems(site.problems)
    loaded = Loaded(site, path, procedure, enclosure, agents, tuple(steps), tuple(mishaps))
    from assistant.procedure.wording import placeholder_problems

    problems = placeholder_problems(loaded)
    if problems:
        raise SiteFileProblems(problems)
    return loaded
