"""Where a session's record lives, with names that can't leave their folder whatever somebody called things.

<root>/<enclosure>/<UTC stamp>-<id>/record.jsonl   clips/  tails/  site/  session.wav
<root>/_witness/log.jsonl                          one witness log for the site
"""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

WITNESS_FOLDER = "_witness"
_SAFE = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")
_RESERVED = re.compile(r"(con|prn|aux|nul|com[0-9]|lpt[0-9])(\..*)?", re.IGNORECASE)  # Windows device names


def safe_name(text: str) -> str:
    """A file name for any text. Plain names stay; others are cleaned and get six digits of their hash, so
    that two different texts never share a name."""
    if _SAFE.fullmatch(text) and not _RESERVED.fullmatch(text) and not text.endswith("."):
        return text
    cleaned = re.sub(r"[^A-Za-z0-9]+", "-", text).strip("-")[:48] or "unnamed"
    mark = hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:6]
    return f"{cleaned}-{mark}"


def session_folder(root: Path | str, enclosure: str, stamp: str, session_id: str) -> Path:
    """The folder of one session. `stamp`: UTC, as 20260314T091500Z, so that names sort by time."""
    return Path(root) / safe_name(enclosure) / f"{safe_name(stamp)}-{safe_name(session_id)}"


def root_of_session(folder: Path) -> Path:
    """The records' root above a session folder."""
    return Path(folder).absolute().parent.parent
