"""What lies beside a record and is named by hash: clips and scans must still be the bytes that the record
names."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from pathlib import Path

from assistant.record.clips import CLIPS
from assistant.record.safe_text import printable
from assistant.record.transcribe import SCANS

_NAME = re.compile(r"[0-9a-f]{64}")


def problems_beside(folder: Path, scans_named: set[str]) -> Iterator[str]:
    """Plain sentences on changed clips and on changed or missing scans. A clip may be deleted, a scan may
    not."""
    for name in (CLIPS, SCANS):
        place = folder / name
        if not place.is_dir() or place.is_symlink():
            continue
        for path in sorted(place.iterdir()):
            if not _NAME.fullmatch(path.stem) or not path.is_file() or path.is_symlink():
                continue
            with path.open("rb") as file:
                if hashlib.file_digest(file, "sha256").hexdigest() != path.stem:
                    yield f"{name}/{printable(path.name, 90)} isn't the bytes that its name says."
    kept = {path.stem for path in (folder / SCANS).glob("*")} if (folder / SCANS).is_dir() else set()
    for missing in sorted(scans_named - kept):
        yield f"The scan {printable(missing, 70)} is missing."
