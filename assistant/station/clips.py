"""Keeps what was heard beside the record, by the site's rule."""

from __future__ import annotations

from pathlib import Path

from assistant.record.clips import ClipPolicy, ClipStore
from assistant.station.ear import KeepClip


def clip_keeper(session_folder: Path, policy: ClipPolicy | None = None) -> KeepClip:
    """A function that stores an utterance's clip if the rule says so and returns its SHA-256, or ""."""
    store = ClipStore(session_folder, policy or ClipPolicy())
    return lambda pcm, accepted: store.save(pcm, accepted=accepted)
