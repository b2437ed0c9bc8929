"""Where the speech synthesiser's library is and how it is found, with no system package.

espeak-ng is licensed GPL-3.0-or-later. It isn't copied into this project: the package `espeakng-loader`
brings it, and it is loaded at run time.
"""

from __future__ import annotations

import contextlib
import ctypes
import functools
import os
import sys
from collections.abc import Iterator
from importlib import metadata

from assistant.errors import VoiceError

_TRY = "install the package espeakng-loader (python3 -m assistant demo does this by itself)"


def library_and_data() -> tuple[str, str]:
    """Path of the library and the folder that HOLDS `espeak-ng-data`'s contents.

    Raises VoiceError when the package that brings them is missing or incomplete.
    """
    try:
        import espeakng_loader

        library, data = str(espeakng_loader.get_library_path()), str(espeakng_loader.get_data_path())
    except Exception as error:  # the loader raises whatever its platform look-up raises
        raise VoiceError(
            f"The speech synthesiser's library can't be found: {error}", try_next=_TRY
        ) from error
    for path in (library, os.path.join(data, "phontab")):
        if not os.path.exists(path):
            raise VoiceError(
                "The speech synthesiser is incomplete.", where=path, expected="a readable file", try_next=_TRY
            )
    return library, data


@functools.cache
def package_version(name: str = "espeakng-loader") -> str:
    """Version of an installed package (by default the one that brings the library), or "unknown"."""
    try:
        return metadata.version(name)
    except metadata.PackageNotFoundError:
        return "unknown"


def prepare_for_pyttsx3() -> str:
    """Make the library findable for pyttsx3 on Linux; returns its path. Call before pyttsx3 is imported.

    The data path has to be set first: without data the library ends the whole process.
    """
    library, data = library_and_data()
    os.environ["ESPEAK_DATA_PATH"] = data
    try:
        ctypes.CDLL(library, mode=ctypes.RTLD_GLOBAL)
    except OSError as error:
        raise VoiceError(
            f"The speech synthesiser's library can't be loaded: {error}", where=library, try_next=_TRY
        ) from error
    return library


@contextlib.contextmanager
def driver_lookup(always: bool = False) -> Iterator[None]:
    """Let pyttsx3's driver find the packaged library while it is imported.

    On macOS and Windows the driver tries only fixed system paths, so its look-up is wrapped meanwhile. On
    Linux the library loaded before is found by its name and nothing is wrapped (unless `always`).
    """
    if sys.platform.startswith("linux") and not always:
        yield
        return
    library, _ = library_and_data()
    loader = ctypes.cdll
    original = loader.LoadLibrary

    def load(name: str) -> ctypes.CDLL:
        return original(library) if "espeak" in str(name).lower() else original(name)

    loader.LoadLibrary = load  # type: ignore[method-assign]  # put back below
    try:
        yield
    finally:
        del loader.LoadLibrary  # the class's own method shows again
