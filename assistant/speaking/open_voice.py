"""The voice a session uses: the real one, cached in the user's cache folder."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import platformdirs

from assistant.speaking.cached_voice import CachedVoice
from assistant.speaking.pyttsx3_voice import Pyttsx3Voice
from assistant.speaking.voice import VoiceSettings


def cache_folder() -> Path:
    """Where clips are kept between runs; may not exist yet."""
    return platformdirs.user_cache_path("gauntlet", appauthor=False) / "voice"


def open_voice(
    settings: VoiceSettings | None = None,
    *,
    pronunciations: Mapping[str, str] | None = None,
    folder: Path | None = None,
    keep: bool = True,
    shape: bool = True,
) -> CachedVoice:
    """pyttsx3 with shaping and cache, its process already starting. `keep` False: nothing kept on disk.

    Raises VoiceError when the synthesiser can't be started.
    """
    inner = Pyttsx3Voice(settings)
    inner.warm_up()
    place = (folder or cache_folder()) if keep else None
    return CachedVoice(inner, folder=place, pronunciations=pronunciations, shape=shape)
