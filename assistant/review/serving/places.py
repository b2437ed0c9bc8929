"""Where records and the pages' own files are, unless the person says otherwise."""

from __future__ import annotations

import os
from pathlib import Path

import platformdirs


def records_folder(chosen: Path | None) -> Path:
    """Chosen, or $GAUNTLET_RECORDS, or the user's data folder: the same as the station's."""
    return Path(
        chosen or os.environ.get("GAUNTLET_RECORDS") or platformdirs.user_data_path("gauntlet") / "records"
    )


def keys_folder(home_chosen: Path | None) -> Path:
    """The key store: inside a chosen home; else $GAUNTLET_KEYS, or `keys` in the home, as for approvals."""
    if home_chosen is None and os.environ.get("GAUNTLET_KEYS"):
        return Path(os.environ["GAUNTLET_KEYS"])
    return home_folder(home_chosen) / "keys"


def home_folder(chosen: Path | None) -> Path:
    """Accounts, keys and index: chosen, or $GAUNTLET_HOME, or the user's data folder."""
    return Path(chosen or os.environ.get("GAUNTLET_HOME") or platformdirs.user_data_path("gauntlet"))
