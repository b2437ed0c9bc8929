"""Where records live unless the person says otherwise, and names that are new each time."""

from __future__ import annotations

import os
import secrets
from datetime import UTC, datetime
from pathlib import Path

import platformdirs

from assistant.errors import StorageError


def records_folder(chosen: Path | str | None = None) -> Path:
    """The folder of the site's records: chosen, or $GAUNTLET_RECORDS, or the user's data folder. Made if missing.

    Raises StorageError when it can't be made or written.
    """
    folder = Path(chosen or os.environ.get("GAUNTLET_RECORDS") or platformdirs.user_data_path("gauntlet") / "records")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StorageError(
            f"The folder for records can't be made: {error.strerror}.", where=str(folder),
            try_next="choose another one with --records",
        ) from error
    if not os.access(folder, os.W_OK | os.X_OK):
        raise StorageError(
            "The folder for records can't be written.", where=str(folder),
            try_next="choose another one with --records",
        )
    return folder


def stamp_now() -> str:
    """UTC, as folder names have it: 20260314T091500Z."""
    return datetime.now(UTC).strftime("%Y%m%dT%H%M%SZ")


def new_id() -> str:
    """A session's name within its second."""
    return secrets.token_hex(4)
