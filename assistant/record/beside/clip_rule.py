"""The site's rule for clips, `<records>/_site/clips.json`, and its keeping: what is past its days is deleted.

Who may listen stands in the site's review rules, since only the pages play clips."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

from assistant.errors import GauntletError, RecordError
from assistant.record.beside.clips import CLIPS, ClipPolicy, ClipStore
from assistant.record.storage.file_store import storage_error
from assistant.record.storage.files import Files, OsFiles, make_folders, write_whole
from assistant.record.storage.index import Entry, list_records

_A_DAY = timedelta(days=1)
_STAMP = "%Y%m%dT%H%M%SZ"
MOST_BYTES = 4096


def rule_file(root: Path | str) -> Path:
    """Where the rule of a site's records is; there needn't be one."""
    return Path(root) / "_site" / "clips.json"


def load_rule(root: Path | str) -> ClipPolicy:
    """The site's rule; without a file the default. Raises RecordError for one that can't be read: voices are not
    kept on a guess."""
    path = rule_file(root)
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return ClipPolicy()
    except OSError as error:
        raise storage_error(error, str(path)) from error
    try:
        held = json.loads(data) if len(data) <= MOST_BYTES else None
        if not isinstance(held, dict) or held.keys() != {"keep", "days"} or type(held["days"]) not in (int, type(None)):
            raise ValueError
        return ClipPolicy(held["keep"], held["days"])
    except (ValueError, TypeError, RecursionError, GauntletError):
        raise RecordError(
            "The site's rule for clips can't be read.", where=str(path),
            expected='{"keep": "all", "refused" or "none", "days": a number or null}',
            try_next="assistant clips --keep refused --days 90",
        ) from None  # fmt: skip


def save_rule(root: Path | str, rule: ClipPolicy, files: Files | None = None) -> Path:
    """Write the site's rule. It holds for sessions begun from now on, its days for clips there are. Raises
    StorageError."""
    path, files = rule_file(root), files or OsFiles()
    text = json.dumps({"keep": rule.keep, "days": rule.days}) + "\n"
    try:
        make_folders(files, path.parent)
        write_whole(files, path, text.encode())
    except OSError as error:
        raise storage_error(error, str(path)) from error
    return path


def clips_kept(entry: Entry) -> int:
    """How many clips lie beside a record."""
    folder = entry.folder / CLIPS
    return sum(1 for _ in folder.glob("*.flac")) if folder.is_dir() and not folder.is_symlink() else 0


def expire_clips(root: Path | str, rule: ClipPolicy, *, wall: str) -> list[tuple[str, str]]:
    """Delete every clip below `root` that the rule no longer keeps; (session, SHA-256) of each. `wall`: now, RFC 3339.

    Days count from a session's last line before the seal's signatures. Each deletion is noted in the witness log
    first. A record that can't be read, or tells no time, keeps its clips. Raises StorageError."""
    if rule.days is None or not Path(root).is_dir():
        return []
    latest = datetime.fromisoformat(wall) - timedelta(days=rule.days)
    gone = []
    for entry in list_records(root):
        try:
            begun = datetime.strptime(entry.stamp, _STAMP).replace(tzinfo=UTC)
            if begun > latest or not clips_kept(entry):  # most records end here, unopened
                continue
            record = entry.open()
            ended = record.seal or record.lines[-1]
            if record.seal is None and datetime.fromisoformat(ended.wall) > datetime.fromisoformat(wall) - _A_DAY:
                continue  # it may still be running
            names = ClipStore(entry.folder, rule).expire(ended.wall, wall=wall)
        except (RecordError, IndexError, ValueError):
            continue
        gone += [(entry.session, name) for name in names]
    return gone
