"""The site's files as they were on the day, kept beside the record so that it can be folded years later."""

from __future__ import annotations

import os
from pathlib import Path

from assistant.errors import StorageError
from assistant.procedure.load import Loaded

FOLDER = "site"


def copy_site(loaded: Loaded, session_folder: Path) -> Path:
    """Copy every file the procedure was made of into `<session>/site/`. Raises StorageError."""
    target = session_folder / FOLDER
    root = loaded.site.folder.resolve()
    try:
        for path in loaded.site.trees:
            place = target / path.resolve().relative_to(root)
            place.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            data = path.read_bytes()
            with open(place, "wb", opener=lambda p, flags: os.open(p, flags, 0o600)) as file:
                file.write(data)
    except OSError as error:
        raise StorageError(
            f"The site's files can't be copied beside the record: {error.strerror}.", where=str(target),
            try_next="free some space, or choose another folder with --records",
        ) from error
    return target
