"""Where the environment lives and what it is called: functions of what is passed in, testable for any system."""

from __future__ import annotations

import hashlib
import os
import platform
import sys
import tempfile
from collections.abc import Mapping
from pathlib import Path, PurePath

from assistant.bootstrap.problem import EXIT_STORAGE, StartProblem

FOLDER = ".gauntlet"


def environment_key(locks: bytes, version: str, platform: str) -> str:
    """Twelve hexadecimal digits that change with the lock files, the Python version and the platform.

    `locks`: the lock files' bytes; `version`: such as "cpython-3.11.7"; `platform`: as sysconfig.get_platform().
    """
    digest = hashlib.sha256()
    for part in (locks, version.encode(), platform.encode()):
        digest.update(len(part).to_bytes(8, "big") + part)
    return digest.hexdigest()[:12]


def environment_python(folder: PurePath, system: str) -> PurePath:
    """The Python inside an environment; `system` as sys.platform."""
    return folder / "Scripts" / "python.exe" if system == "win32" else folder / "bin" / "python"


def user_cache_folder(system: str, variables: Mapping[str, str], home: PurePath) -> PurePath:
    """Gauntlet's folder in the user's cache, as platformdirs would name it (which can't be imported yet)."""
    if system == "win32":
        local = variables.get("LOCALAPPDATA")
        return (type(home)(local) if local else home / "AppData" / "Local") / "gauntlet" / "Cache"
    if system == "darwin":
        return home / "Library" / "Caches" / "gauntlet"
    named = variables.get("XDG_CACHE_HOME", "").strip()
    return (type(home)(named) if named.startswith("/") else home / ".cache") / "gauntlet"


def system_release() -> str:
    """The part of the system that decides which packages fit and may grow newer under an environment: "glibc 2.36",
    "macOS 15.1"; empty on other systems."""
    if sys.platform == "darwin":
        return f"macOS {platform.mac_ver()[0]}"
    try:
        return os.confstr("CS_GNU_LIBC_VERSION") or ""
    except (AttributeError, OSError, ValueError):  # Windows; a C library of another kind
        return ""


def writable_folder(checkout: Path, cache: Path) -> Path:
    """`<checkout>/.gauntlet`, or the cache folder where that can't be written; made if absent.

    Raises StartProblem (exit code 6) where neither can be written.
    """
    for place in (checkout / FOLDER, cache):
        if prepare(place):
            return place
    raise StartProblem(f"Neither {checkout / FOLDER} nor {cache} can be written.",
                       "make one of them writable, or copy the project to a folder of yours", EXIT_STORAGE)


def prepare(place: Path) -> bool:
    """Makes the folder, with an ignore file of its own, and tries a write in it; False if that fails."""
    try:
        place.mkdir(parents=True, exist_ok=True)
        ignore = place / ".gitignore"
        if not ignore.exists():
            ignore.write_text("*\n", encoding="utf-8")
        # A trial write: permission bits alone don't show a read-only mount, and root passes them all.
        with tempfile.TemporaryFile(dir=place):
            pass
    except OSError:
        return False
    return True


def cache_for_compiled_files(checkout: Path) -> Path:
    """Where the tests' compiled files go, so that they don't litter the checkout."""
    cache = Path(user_cache_folder(sys.platform, os.environ, Path.home()))
    return writable_folder(checkout, cache) / "compiled"
