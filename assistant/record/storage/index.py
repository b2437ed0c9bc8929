"""List a site's records quickly: from folder names alone, so ten thousand are no wait."""

from __future__ import annotations

import os
import re
from dataclasses import dataclass
from pathlib import Path

from assistant.errors import RecordError
from assistant.record.reader import Record, read_record
from assistant.record.storage.file_store import FILE_NAME

_SESSION = re.compile(r"(\d{8}T\d{6}Z)-(.+)")


@dataclass(frozen=True, slots=True)
class Entry:
    """A record by its name. `stamp`: UTC, 20260314T091500Z. `session`: its name in the witness log."""

    root: str
    enclosure: str
    stamp: str
    session_id: str

    @property
    def session(self) -> str:
        """enclosure/stamp-id."""
        return f"{self.enclosure}/{self.stamp}-{self.session_id}"

    @property
    def folder(self) -> Path:
        """The session's folder."""
        return Path(self.root) / self.enclosure / f"{self.stamp}-{self.session_id}"

    def open(self) -> Record:
        """Read it. Raises RecordError when the folder holds no record."""
        return read_record(self.folder / FILE_NAME)


def list_records(root: Path | str, enclosure: str = "") -> list[Entry]:
    """Every session folder below `root` (of one enclosure, if named), newest first. Nothing is opened."""
    root = str(Path(root).absolute())
    if not os.path.isdir(root):
        raise RecordError(
            "There are no records here.", where=root, expected="the folder that holds the records"
        )
    found = []
    with os.scandir(root) as places:
        names = [p.name for p in places if p.name[0] not in "._" and p.is_dir(follow_symlinks=False)]
    for name in names:
        if enclosure and name != enclosure:
            continue
        with os.scandir(os.path.join(root, name)) as sessions:
            for session in sessions:
                match = _SESSION.fullmatch(session.name)
                if match and session.is_dir(follow_symlinks=False):
                    found.append(Entry(root, name, match[1], match[2]))
    found.sort(key=lambda entry: (entry.stamp, entry.enclosure, entry.session_id), reverse=True)
    return found


def find_record(root: Path | str, wanted: str) -> Entry:
    """The record whose id, stamp or session name is or starts with `wanted`. Raises RecordError for none or
    several."""
    fits = [e for e in list_records(root) if e.session_id == wanted or e.session == wanted]
    fits = fits or [
        e
        for e in list_records(root)
        if e.session_id.startswith(wanted) or e.stamp.startswith(wanted) or e.session.startswith(wanted)
    ]
    if len(fits) != 1:
        near = ", ".join(e.session for e in fits[:5])
        raise RecordError(
            f"{len(fits) or 'No'} records fit '{wanted[:80]}'.",
            where=str(root),
            expected=f"one of: {near}" if fits else "an id, a time, or enclosure/session",
        )
    return fits[0]
