"""What the board sends to a running session: one JSON line per statement in a file beside the record.

The board runs in another process. It appends; the session reads on and never writes. A statement counts only
when the core asks for a witness; what was sent is in the record as what the core made of it.
"""

from __future__ import annotations

import json
import os
from pathlib import Path

NAME = "board.jsonl"
_LONGEST_BYTES = 4096


class BoardBox:
    """Reads statements as they come. A half-written line is left until it is whole; a broken one is passed over."""

    def __init__(self, folder: Path) -> None:
        self._path = folder / NAME
        self._at = self._path.stat().st_size if self._path.exists() else 0

    def take(self) -> dict[str, str] | None:
        """The next statement ({"input": "witness" or "sign_in", "person", ...}), or None."""
        try:
            with open(self._path, "rb") as file:
                file.seek(self._at)
                line = file.readline(_LONGEST_BYTES)
        except OSError:
            return None
        if not line.endswith(b"\n"):
            return None
        self._at += len(line)
        try:
            found = json.loads(line)
        except ValueError:
            return None
        if not isinstance(found, dict) or not all(isinstance(v, str) for v in found.values()):
            return None
        return found


def send(folder: Path, statement: dict[str, str]) -> None:
    """Append one statement, whole and synced; the file is its owner's only. Raises OSError."""
    line = (json.dumps(statement, ensure_ascii=False) + "\n").encode()
    with open(folder / NAME, "ab", opener=lambda p, flags: os.open(p, flags, 0o600)) as file:
        file.write(line)
        file.flush()
        os.fsync(file.fileno())
