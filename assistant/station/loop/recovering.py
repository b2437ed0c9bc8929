"""After a crash: find the session that was left open, take its record up again, and say for how long nobody watched.

Live work and the crash measurement go through here alike. What the core then does with it is its own rule: nothing
that needed watching counts.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from assistant.account.reading import OpenedSession, load_session
from assistant.errors import RefusedError
from assistant.procedure.loading.load import Loaded
from assistant.procedure.model.plan import Plan
from assistant.record.reader import read_record
from assistant.record.recover import recover
from assistant.record.storage.files import Files
from assistant.record.storage.index import list_records
from assistant.record.storage.paths import safe_name
from assistant.record.writer import RecordWriter
from assistant.session import inputs
from assistant.session.rules import RULES_VERSION
from assistant.session.state import FINAL_MODES, State
from assistant.station.live.approval import approval_file, keep_approval
from assistant.station.loop.site_copy import copy_site

_TAIL_BYTES = 1 << 16  # a seal and a few signatures after it fit in here
_SEALED = b'"kind":"record_sealed"'  # in a text the quotes would be escaped

Say = Callable[[str], None]


@dataclass(slots=True)
class TakenUp:
    """An open record gone on with. `first_ms`: session time now. `unwatched_ms`: from the last fact of the core to
    now by the wall clock; never negative."""

    writer: RecordWriter
    opened: OpenedSession
    state: State
    first_ms: int
    unwatched_ms: int

    @property
    def over(self) -> bool:
        """Its verdict was reached; only the seal is missing."""
        return self.state.mode in FINAL_MODES

    def given(self, begin: inputs.Begin, now_ms: int) -> inputs.Input:
        """What the core gets first at session time `now_ms`: `begin` where the session hadn't begun."""
        if self.state.mode == "idle":
            return begin
        return inputs.Recover(self.unwatched_ms + max(0, now_ms - self.first_ms), "crash")


def find_open(root: Path, plan: Plan, kind: str = "live", say: Say = lambda text: None) -> Path | None:
    """The newest record of `kind` on the plan's enclosure that was begun and never closed, or None.

    `say` gets a sentence on each one that is left as it is. A damaged one is returned: `take_up` tells torn from
    changed. Raises RefusedError where the newest is of another procedure: that one is to be finished or stopped
    first.
    """
    for entry in list_records(root, safe_name(plan.enclosure)) if root.is_dir() else ():
        file = entry.folder / "record.jsonl"
        if not file.is_file() or _looks_sealed(file):
            continue
        record = read_record(entry.folder)
        if not record.header or record.kind != kind or record.seal is not None or record.header.get("transcribed"):
            continue
        told = record.header.get("procedure", {})
        begun = any(not line.own for line in record.lines)
        if record.rules != RULES_VERSION:
            say(f"An open record of another version of this program is left as it is: {entry.folder}")
        elif told.get("sha256") == plan.sha256 or (begun and told.get("id") == plan.procedure):
            return entry.folder
        elif begun:
            raise RefusedError(
                f"A session of another procedure is open on this enclosure: {told.get('title', told.get('id', ''))}.",
                where=str(entry.folder), try_next=f"finish or stop that one first: assistant run {told.get('id', '')}",
            )
    return None


def take_up(
    folder: Path, loaded: Loaded, *, wall: str, owner: str, files: Files | None = None,
    why: str = "the assistant was started again",
) -> TakenUp:
    """Take a record up again at wall time `wall` (RFC 3339). Its plan is the one it was begun with.

    `loaded`: the site files of now; only a record that holds nothing but its first line still needs them, for a
    crash may have come before they were copied. Raises RecordError, StorageError, SiteFileError.
    """
    record = read_record(folder)
    if not any(not line.own for line in record.lines):
        copy_site(loaded, folder)
        keep_approval(approval_file(loaded) if record.kind == "live" else None, folder, record.header, files)
    opened = load_session(folder)
    last = opened.record.lines[-1]
    # Lines of the record room itself tell of attempts to start again; nobody watched during those either.
    watched = next((line for line in reversed(opened.record.lines) if not line.own), opened.record.lines[0])
    unwatched = _between_ms(watched.wall, wall)
    first = max(last.t_ms, watched.t_ms + unwatched)
    writer = recover(folder, wall=wall, t_ms=first, owner=owner, why=why, files=files)
    return TakenUp(writer, opened, opened.state(), first, unwatched)


def _between_ms(earlier: str, later: str) -> int:
    """Milliseconds between two RFC 3339 stamps; 0 where the clock was set back meanwhile."""
    return max(0, round((datetime.fromisoformat(later) - datetime.fromisoformat(earlier)).total_seconds() * 1000))


def _looks_sealed(file: Path) -> bool:
    """Whether the end of the file holds a seal, without reading all of it: a site has thousands of them."""
    with open(file, "rb") as stream:
        stream.seek(max(0, os.fstat(stream.fileno()).st_size - _TAIL_BYTES))
        return _SEALED in stream.read()
