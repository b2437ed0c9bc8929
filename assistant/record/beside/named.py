"""What lies beside a record and is named by hash must still be the bytes that the record names: clips, scans, site
files, the approval, the session's sound."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from assistant.record.beside.attached import ATTACHED, SITE, attached_names, opening_names
from assistant.record.beside.clips import CLIPS
from assistant.record.lines.envelope import Line
from assistant.record.lines.safe_text import printable
from assistant.record.transcribe import SCANS

APPROVALS = "approvals"
NAMING = ("record_opened", "record_scan_attached", ATTACHED)  # kinds of lines that name files, clips aside
_READ = (".yaml", ".yml", ".json")  # what a program of ours would read as a site's file or an approval
_NAME = re.compile(r"[0-9a-f]{64}")


@dataclass
class Named:
    """What a record's lines name. `opening`: by the first line, must be there. `attached`: may be deleted."""

    scans: set[str] = field(default_factory=set)
    opening: list[tuple[str, str]] = field(default_factory=list)
    attached: list[tuple[str, str]] = field(default_factory=list)

    def add(self, line: Line) -> None:
        """Take note of what one line names; lines of odd shape name nothing."""
        if line.kind == "record_scan_attached":
            self.scans.add(str(line.data.get("scan_sha256", "")))
        elif line.kind == "record_opened":
            self.opening += opening_names(line.data)
        self.attached += attached_names(line.kind, line.data)


def problems_beside(folder: Path, named: Named) -> Iterator[str]:
    """Plain sentences on changed files, and on missing ones that must stay. A clip or a sound may be deleted."""
    for name in (CLIPS, SCANS):
        for path in _files(folder / name):
            if _NAME.fullmatch(path.stem) and _sha256(path) != path.stem:
                yield f"{name}/{printable(path.name, 90)} isn't the bytes that its name says."
    kept = {path.stem for path in _files(folder / SCANS)}
    for missing in sorted(named.scans - kept):
        yield f"The scan {printable(missing, 70)} is missing."
    for name, digest in named.attached:
        path = folder / name
        if path.is_file() and not path.is_symlink() and _sha256(path) != digest:
            yield f"{printable(path.name, 90)} isn't the file that the record names."
    yield from _opening_problems(folder, named.opening)


def _opening_problems(folder: Path, named: list[tuple[str, str]]) -> Iterator[str]:
    # A record alone, without its folders, still verifies: what isn't there says nothing false.
    parts = [part for part in (SITE, APPROVALS) if (folder / part).is_dir()]
    here = {path: _sha256(path) for part in parts for path in _files(folder / part)}
    left = list(named)
    for path, digest in here.items():
        inner = path.relative_to(folder / path.relative_to(folder).parts[0]).as_posix()
        fits = [(name, sha) for name, sha in left if sha == digest and f"/{name}".endswith(f"/{inner}")]
        if fits:
            left.remove(fits[0])
        elif named and path.suffix.lower() in _READ:
            # Anything else there (what a desktop leaves, half of a copy that a crash cut off) changes nothing.
            yield f"{printable(path.relative_to(folder).as_posix(), 90)} isn't a file that the record names."
    for name, _ in left if parts else ():
        yield f"{printable(name, 90)}, which the first line names, is missing."


def _files(folder: Path) -> list[Path]:
    if folder.is_symlink() or not folder.is_dir():
        return []
    return sorted(path for path in folder.rglob("*") if path.is_file() and not path.is_symlink())


def _sha256(path: Path) -> str:
    """Of a file's bytes; "" where it can't be read, which fits no name."""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return ""
