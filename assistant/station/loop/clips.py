"""Keeps what was heard beside the record, by the site's rule."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from assistant.errors import RecordError, StorageError
from assistant.record.beside.clip_rule import expire_clips, load_rule
from assistant.record.beside.clips import ClipPolicy, ClipStore
from assistant.record.storage.paths import root_of_session
from assistant.station.loop.ear import KeepClip


def clip_keeper(session_folder: Path, policy: ClipPolicy | None = None) -> KeepClip:
    """A function that stores an utterance's clip if the rule says so and returns its SHA-256, or "". `policy`: the
    site's own when None. Raises RecordError for a rule that can't be read."""
    store = ClipStore(session_folder, policy or load_rule(root_of_session(session_folder)))
    return lambda pcm, accepted: store.save(pcm, accepted=accepted)


def rule_told(root: Path) -> dict[str, dict[str, str | int]]:
    """What a record's first line says of the clips that will be kept. Raises RecordError as `clip_keeper` does, and
    before anything is written."""
    rule = load_rule(root)
    return {"clips": {"keep": rule.keep, "days": "as the record" if rule.days is None else rule.days}}


def clear_old_clips(root: Path) -> str:
    """Delete what is past the site's days, once a session is over; a sentence where that failed, else ""."""
    try:
        expire_clips(root, load_rule(root), wall=datetime.now().astimezone().isoformat(timespec="milliseconds"))
    except (RecordError, StorageError) as error:
        return f"Old clips couldn't be deleted: {error.what}"
    return ""
