"""Clips of what was heard: 16 kHz FLAC beside the record, named by hash, as the site's policy says.

They are somebody's voice. The site chooses all, refused-only (the default) or none, and how long they are
kept; who may listen is the pages' to hold. A clip may be deleted; its hash in the record stays. Nothing else is recorded."""

from __future__ import annotations

import hashlib
import io
import re
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Literal

from assistant.errors import RecordError, StorageError, UsageError
from assistant.record.site_log import SiteLog
from assistant.record.storage.file_store import storage_error
from assistant.record.storage.files import Files, OsFiles, make_folders, write_whole
from assistant.record.storage.paths import root_of_session

RATE_HZ = 16_000
BEFORE_S = AFTER_S = 1.0
CLIPS = "clips"
_NAME = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True)
class ClipPolicy:
    """`keep`: which utterances. `days`: how long, None for as long as the record."""

    keep: Literal["all", "refused", "none"] = "refused"
    days: int | None = 90

    def __post_init__(self) -> None:
        if self.keep not in ("all", "refused", "none"):
            raise UsageError(f"'{self.keep}' is no choice for clips.", expected="all, refused or none")
        if self.days is not None and self.days < 0:
            raise UsageError("Clips can't be kept for less than no days.")

    def keeps(self, accepted: bool) -> bool:
        """Whether an utterance's clip is kept."""
        return self.keep == "all" or (self.keep == "refused" and not accepted)


def window(start_s: float, end_s: float, held_from_s: float, held_to_s: float) -> tuple[float, float]:
    """What a clip covers: the utterance with a second before and after, as far as sound is held (seconds)."""
    return max(held_from_s, start_s - BEFORE_S), min(held_to_s, end_s + AFTER_S)


class ClipStore:
    """The clips of one session, in `<session folder>/clips/`."""

    def __init__(self, session: Path, policy: ClipPolicy, *, files: Files | None = None) -> None:
        self.folder = Path(session) / CLIPS
        self.policy = policy
        self._files = files or OsFiles()

    def save(self, pcm: bytes, *, accepted: bool) -> str:
        """Keep 16-bit mono samples at 16 kHz, if the policy says so; the clip's SHA-256, or "" if not kept.

        Written before the fact that names it. Raises StorageError, UsageError for an odd number of bytes.
        """
        if not self.policy.keeps(accepted):
            return ""
        data = to_flac(pcm)
        name = hashlib.sha256(data).hexdigest()
        try:
            make_folders(self._files, self.folder)
            if not (self.folder / f"{name}.flac").exists():
                write_whole(self._files, self.folder / f"{name}.flac", data)
        except OSError as error:
            raise storage_error(error, str(self.folder)) from error
        return name

    def path(self, sha256: str) -> Path | None:
        """The clip's file, or None when it was deleted. Raises RecordError when its bytes aren't its name."""
        if not _NAME.fullmatch(sha256):
            return None
        path = self.folder / f"{sha256}.flac"
        if not path.is_file() or path.is_symlink():
            return None
        if hashlib.sha256(path.read_bytes()).hexdigest() != sha256:
            raise RecordError("This clip isn't the sound that the record names.", where=str(path))
        return path

    def delete(self, sha256: str, *, wall: str, reason: str) -> bool:
        """Delete a clip and note it in the witness log; False when it was gone already. The hash stays."""
        path = self.folder / f"{sha256}.flac"
        if not _NAME.fullmatch(sha256) or not path.is_file():
            return False
        session = f"{self.folder.parent.parent.name}/{self.folder.parent.name}"
        # Noted first: a note without a deletion is a small lie, a deletion without a note is a hole.
        SiteLog(root_of_session(self.folder.parent), files=self._files).note(
            "clip_deleted", session, 0, sha256, wall, reason
        )
        try:
            path.unlink()
        except OSError as error:
            raise StorageError(f"The clip can't be deleted: {error.strerror}.", where=str(path)) from error
        return True

    def expire(self, session_ended_wall: str, *, wall: str) -> list[str]:
        """Delete what the policy no longer keeps; their hashes. Times are RFC 3339."""
        if self.policy.days is None or not self.folder.is_dir():
            return []
        due = datetime.fromisoformat(session_ended_wall) + timedelta(days=self.policy.days)
        if datetime.fromisoformat(wall) < due:
            return []
        names = sorted(path.stem for path in self.folder.glob("*.flac") if _NAME.fullmatch(path.stem))
        return [
            name for name in names if self.delete(name, wall=wall, reason=f"kept {self.policy.days} days")
        ]


def to_flac(pcm: bytes) -> bytes:
    """16-bit mono samples at 16 kHz as FLAC. Raises UsageError for an odd number of bytes."""
    if len(pcm) % 2:
        raise UsageError("A clip must be whole 16-bit samples.")
    import numpy
    import soundfile

    out = io.BytesIO()
    soundfile.write(out, numpy.frombuffer(pcm, dtype="<i2"), RATE_HZ, format="FLAC", subtype="PCM_16")
    return out.getvalue()
