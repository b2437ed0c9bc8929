"""Finding a Vosk model and checking its files before the library sees them: on some missing files it crashes."""

from __future__ import annotations

from pathlib import Path


def find(language: str, path: str | Path | None = None, *, required: bool = False) -> Path | None:
    return None
