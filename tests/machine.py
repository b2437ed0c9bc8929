"""What this machine has for the tests, and how a test says that it couldn't measure something here."""

from __future__ import annotations

import os
import shutil
import tempfile
from pathlib import Path
from typing import NoReturn

import pytest

NOT_MEASURED = "not_measured"  # the name of the pytest property that carries a reason without a skip


def not_measured(reason: str) -> NoReturn:
    """Skips the test because this machine lacks something; the reason is repeated loudly at the end."""
    pytest.skip(f"not measured here: {reason}")


def chromium() -> str | None:
    """The browser's executable, or None. CHROMIUM_PATH goes first, for browsers in unusual places."""
    named = os.environ.get("CHROMIUM_PATH")
    if named and os.path.exists(named):
        return named
    for name in ("chromium", "chromium-browser", "chrome"):
        found = shutil.which(name)
        if found:
            return found
    return None


def english_vosk_model() -> Path | None:
    """The folder of an English Vosk model, where the assistant itself would look, or None."""
    from platformdirs import user_cache_path

    named = os.environ.get("VOSK_MODEL_PATH")
    places = [Path(named)] if named else []
    cache = user_cache_path("gauntlet", appauthor=False) / "models"
    if cache.is_dir():
        places += sorted(cache.glob("vosk-model*en*"))
    for place in places:
        if place.exists() and "-ko" not in place.name:
            return place
    return None


def missing() -> list[str]:
    """What the tests could use and this machine hasn't got, each as one plain line."""
    lines = []
    if chromium() is None:
        lines.append("no Chromium: the pages were not opened in a browser")
    if shutil.which("spin") is None:
        lines.append("no spin: the exhaustive proof was not compared with a second model checker")
    if english_vosk_model() is None:
        lines.append("no English Vosk model: English went through PocketSphinx only")
    return lines


def skip_reason(report) -> str:
    """The reason inside a skipped report, without the file and line that pytest puts before it."""
    text = report.longrepr[2] if isinstance(report.longrepr, tuple) else str(report.longrepr)
    for prefix in ("Skipped: ", "not measured here: "):
        text = text.removeprefix(prefix)
    return text


def scratch_folder(root: Path) -> Path:
    """A folder for the tests' own caches that git doesn't see: in the checkout, else among temporary files."""
    own = root / ".gauntlet"
    try:
        own.mkdir(exist_ok=True)
        ignore = own / ".gitignore"
        if not ignore.exists():
            ignore.write_text("*\n", encoding="utf-8")
        return own
    except OSError:
        return Path(tempfile.gettempdir()) / f"gauntlet-tests-{os.getpid()}"
