"""Which engine listens: Vosk where a model is found, the embedded one otherwise."""

from __future__ import annotations

from pathlib import Path

from assistant.errors import UsageError
from assistant.hearing.engines.recogniser import Engine

NAMES = ("vosk", "pocketsphinx")


def open_engine(language: str = "en", model: str | Path | None = None, engine: str | None = None) -> Engine:
    """The engine for a language. `model`: a Vosk model's folder, .zip or .aar. Raises ModelError, UsageError."""
    if engine not in (None, *NAMES):
        raise UsageError(f"'{engine}' isn't a speech engine.", expected="vosk or pocketsphinx")
    if engine == "pocketsphinx" and model is not None:
        raise UsageError("The embedded engine has its own model.", try_next="leave out --model, or choose --engine vosk")
    if engine == "pocketsphinx":
        return _embedded()
    from assistant.hearing.engines import vosk_models as models

    found = models.find(language, model, required=engine == "vosk" or language != "en")
    if found is None:
        return _embedded()
    from assistant.hearing.engines.vosk import VoskEngine

    return VoskEngine(found, language)


def _embedded() -> Engine:
    """PocketSphinx, with the attention model before it where that is installed."""
    from assistant.hearing.engines.pocketsphinx import PocketsphinxEngine
    from assistant.hearing.engines.reading_engine import open_reading_engine

    return open_reading_engine() or PocketsphinxEngine()
