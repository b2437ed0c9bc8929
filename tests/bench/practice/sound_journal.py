"""What finished sessions with sound came to, a line each, so that hours of them can be stopped, gone on with and split."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from assistant.errors import SiteFileError, StorageError

_NEEDED = {"name": str, "procedure": str, "plan_sha256": str, "rules": int, "engine": str, "by_ear": bool, "counts": dict,
           "simulated_ms": int, "taken_s": float, "nobody": list}


class Journal:
    """`files`: the first is added to; all are read, each row once. None: nothing is kept. Raises SiteFileError for a
    line that isn't a finished session, and for one of another procedure than the rest."""

    def __init__(self, files: Sequence[Path] = ()) -> None:
        self.file = files[0] if files else None
        self.rows: list[dict[str, Any]] = []
        for path in files:
            self._read(path)

    def names(self) -> set[str]:
        return {row["name"] for row in self.rows}

    def add(self, row: Mapping[str, Any]) -> None:
        """Keep one more, on disk before this returns. Raises StorageError."""
        if self.rows:
            _alike(self.rows[0], row, str(self.file))
        self.rows.append(dict(row))
        if self.file is None:
            return
        try:
            self.file.parent.mkdir(parents=True, exist_ok=True)
            with self.file.open("a", encoding="utf-8") as out:
                out.write(json.dumps(row, sort_keys=True) + "\n")
        except OSError as error:
            raise StorageError(f"The journal can't be written: {error}.", where=str(self.file)) from error

    def _read(self, path: Path) -> None:
        try:
            lines = path.read_text(encoding="utf-8").splitlines() if path.exists() else []
        except (OSError, UnicodeDecodeError) as error:
            raise SiteFileError(f"The journal can't be read: {error}.", where=str(path)) from error
        for number, line in enumerate(lines, 1):
            try:
                row = json.loads(line)
                if not all(isinstance(row[name], kind) for name, kind in _NEEDED.items()):
                    raise ValueError("a value of another kind")
            except (ValueError, KeyError, TypeError) as error:
                raise SiteFileError(
                    f"This line isn't a finished session: {error}.", where=f"{path}:{number}",
                    try_next="take this line out, or name another journal",
                ) from error
            if self.rows:
                _alike(self.rows[0], row, f"{path}:{number}")
            if row["name"] not in self.names():
                self.rows.append(row)


def _alike(one: Mapping[str, Any], other: Mapping[str, Any], where: str) -> None:
    for name in ("procedure", "plan_sha256", "rules", "engine", "by_ear"):
        if one[name] != other[name]:
            raise SiteFileError(
                f"This session had another {name.replace('_', ' ')} than the rest of the journal.", where=where,
                expected=str(one[name]), try_next="name another journal",
            )
