"""The site's files as they were on the day, kept beside the record so that it can be folded years later."""

from __future__ import annotations

from pathlib import Path

from assistant.account.plans import SITE_FOLDER
from assistant.errors import StorageError
from assistant.procedure.loading.load import Loaded
from assistant.record.storage.files import Files, OsFiles, make_folders, write_whole


def copy_site(loaded: Loaded, session_folder: Path, files: Files | None = None) -> Path:
    """Copy every file the procedure was made of into `<session>/site/`, each whole and durable, for their owner only.
    Doing it again does no harm. Raises StorageError."""
    files = files or OsFiles()
    target = session_folder / SITE_FOLDER
    root = loaded.site.folder.resolve()
    try:
        for path in loaded.site.trees:
            place = target / path.resolve().relative_to(root)
            make_folders(files, place.parent)
            write_whole(files, place, path.read_bytes())
    except OSError as error:
        raise StorageError(
            f"The site's files can't be copied beside the record: {error.strerror}.", where=str(target),
            try_next="free some space, or choose another folder with --records",
        ) from error
    return target
