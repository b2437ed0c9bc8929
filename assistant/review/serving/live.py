"""Follows the records that are being written now: reads what was appended, folds it, tells whoever watches.

A watcher always gets the whole picture, never a difference, so that a connection that dropped has lost
nothing
once it is back. The last words heard travel in the picture too.
"""

from __future__ import annotations

import asyncio
import json
import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from assistant.account.plans import PlanCache
from assistant.account.reading import fact_of, folded
from assistant.account.telling import heard_words
from assistant.errors import GauntletError, RecordError
from assistant.procedure.model.plan import Plan
from assistant.record.lines.envelope import MalformedLine, parse_line
from assistant.record.lines.reading import Ending
from assistant.record.lines.safe_text import printable
from assistant.record.reader import Record
from assistant.record.storage.file_store import FILE_NAME
from assistant.record.storage.index import list_records
from assistant.review.register.index_rows import folder_times, writing_state
from assistant.session import initial
from assistant.session.facts.base import Fact
from assistant.session.facts.lines import Heard, LineSpoken
from assistant.session.state import State
from assistant.session.view import view

POLL_S = 0.1
LOOK_S = 1.0  # how often new sessions are looked for
LOOK_AT_ALL_S = 15.0  # how often every folder is looked at, also where nothing seems new
STAYS_S = 600.0  # a finished session stays on the board so long
_WORDS = 8
_MOST_BYTES = 1 << 26


@dataclass
class LiveSession:
    """One record that grows. `read_s`: when (monotonic) the session's clock stood at `t_ms`."""

    session: str
    folder: Path
    plan: Plan | None = None
    enclosure_name: str = ""
    state: State | None = None
    header: dict[str, Any] = field(default_factory=dict)
    kind: str = ""
    offset: int = 0
    lines: int = 0
    t_ms: int = 0
    read_s: float = 0.0
    sealed_s: float = 0.0
    sealed: bool = False
    problem: str = ""
    said: str = ""
    words: deque[dict[str, Any]] = field(default_factory=lambda: deque(maxlen=_WORDS))

    def feed(self, plans: PlanCache, now_s: float) -> bool:
        """Read what was appended; whether anything was."""
        path = self.folder / FILE_NAME
        try:
            told = path.stat()
            with open(path, "rb") as file:
                file.seek(self.offset)
                # Neither size nor time tells: the next line is written into room that is there already.
                if file.peek(1)[:1] in (b"", b"\0"):
                    return False
                data = file.read(_MOST_BYTES)
        except OSError:
            return False
        begun, first = self.offset, self.offset == 0
        for raw in data.split(b"\n")[:-1]:
            if b"\0" in raw:
                break  # just being written: it is read again when it is whole
            self.offset += len(raw) + 1
            self._take(raw, plans)
        if self.offset == begun:
            return False
        # A record that was there before us: its clock has gone on since its last line.
        behind = max(0.0, time.time() - told.st_mtime) if first else 0.0
        self.read_s = now_s - (behind if behind < 24 * 3600 else 0.0)
        if self.sealed and not self.sealed_s:
            self.sealed_s = now_s - behind
        return True

    def _take(self, raw: bytes, plans: PlanCache) -> None:
        try:
            line = parse_line(raw)
        except MalformedLine as error:
            self.problem = self.problem or f"A line can't be read: {error}"
            return
        self.lines, self.t_ms, self.kind = line.seq, line.t_ms, line.record
        if line.kind == "record_opened":
            self.header = line.data
            try:
                record = Record(self.folder / FILE_NAME, [line], Ending("end_of_file", 0, 2, ""))
                self.plan, self.enclosure_name = plans.plan_and_name(record)
                self.state = initial(self.plan)
            except GauntletError as error:
                self.problem = error.what
        elif line.kind == "record_sealed":
            self.sealed = True
        elif not line.own:
            try:
                self._fold(fact_of(line))
            except RecordError as error:
                self.problem = self.problem or error.what
                self.state = None

    def _fold(self, fact: Fact) -> None:
        if isinstance(fact, Heard):
            self.words.append(
                {
                    "word": heard_words(self.plan, fact),
                    "accepted": fact.accepted,
                    "reason": fact.reason,
                    "at_ms": fact.at_ms,
                }
            )
        elif isinstance(fact, LineSpoken):
            self.said = fact.text
        if self.state is not None:
            self.state = folded(self.state, fact, self.lines)

    def now_ms(self, now_s: float) -> int:
        """The session's clock now."""
        return self.t_ms if self.sealed else self.t_ms + max(0, int((now_s - self.read_s) * 1000))

    def picture(self, now_s: float) -> dict[str, Any]:
        """What a board shows of it. All texts made safe; times as milliseconds from now."""
        now = self.now_ms(now_s)
        told = self.header
        place = part if isinstance(part := told.get("enclosure"), dict) else {}
        procedure = part if isinstance(part := told.get("procedure"), dict) else {}
        found: dict[str, Any] = {
            "session": self.session,
            "kind": self.kind,
            "lines": self.lines,
            "now_ms": now,
            "sealed": self.sealed,
            "enclosure": _safe(self.enclosure_name or place.get("name") or self.folder.parent.name),
            "title": _safe(procedure.get("title")),
            "technician": _safe(told.get("technician")),
            "problem": _safe(self.problem),
            "said": _safe(self.said),
            "words": [
                {**w, "word": _safe(w["word"]), "reason": _safe(w["reason"]), "ago_ms": now - w["at_ms"]}
                for w in self.words
            ],
        }
        if self.plan is None or self.state is None:
            return found
        seen = view(self.plan, self.state)
        found |= {
            "mode": seen.mode,
            "mode_text": _safe(seen.mode_text),
            "step": _safe(seen.text or seen.title or seen.line),
            "branch": _safe(seen.branch),
            "done": seen.done,
            "total": seen.total,
            "person": _safe(seen.person),
            "hands": _safe(seen.hands_text),
            "deviations": seen.deviations,
            "verdict": seen.verdict,
            "timers": [
                {
                    "kind": t.kind,
                    "name": _safe(t.name),
                    "left_ms": t.due_ms - now if t.due_ms >= 0 else None,
                    "total_ms": t.due_ms - t.started_ms if t.due_ms >= 0 else None,
                    "since_ms": now - t.started_ms,
                    "rewet": t.rewet_asked,
                    "dries_ms": t.dries_ms - now if t.dries_ms >= 0 else None,
                }
                for t in seen.timers
            ],
            "openings": [
                {
                    "name": _safe(o.name),
                    "at": o.at,
                    "at_text": _safe(o.at_text),
                    "since_ms": now - o.since_ms if o.since_ms >= 0 and o.at == "open" else None,
                }
                for o in seen.openings
            ],
            "witness": seen.mode == "witness",
        }
        return found


def _safe(value: Any) -> str:
    return printable(value, 400) if isinstance(value, str) else ""


class Follower:
    """All live sessions of one records root, and those who watch. `clock`: monotonic seconds."""

    def __init__(self, root: Path, plans: PlanCache, clock: Callable[[], float] = time.monotonic) -> None:
        self.root, self.plans, self._clock = Path(root), plans, clock
        self.sessions: dict[str, LiveSession] = {}
        self._settled: dict[str, float] = {}  # not live when last looked at: session -> its file's time
        self._looked_s = self._all_s = -1e9
        self._folders: dict[str, int] = {}  # enclosure -> its folder's time when last looked through
        self._watchers: set[asyncio.Queue[str]] = set()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._lock = threading.Lock()
        self.version = 0

    def poll(self) -> bool:
        """Look once; whether anything changed."""
        with self._lock:
            now = self._clock()
            changed = False
            if now - self._looked_s >= LOOK_S:
                self._looked_s = now
                changed = self._look(now)
            for live in list(self.sessions.values()):
                changed |= live.feed(self.plans, now)
            if changed:
                self.version += 1
            return changed

    def _look(self, now: float) -> bool:
        folders = folder_times(self.root)
        every = now - self._all_s >= LOOK_AT_ALL_S
        changed = False
        if every or folders != self._folders:
            changed, whole = self._look_for_new(now, every)
            self._all_s = now if every else self._all_s
            # A folder whose record isn't there yet is looked at again next time.
            self._folders = folders if whole else {}
        for name, live in list(self.sessions.items()):
            left = not live.sealed and writing_state(live.folder) != "live"
            if left:  # its last lines may have come since we read: one that ended stays to be seen
                changed |= live.feed(self.plans, now)
            ended = live.sealed and now - live.sealed_s > STAYS_S
            if ended or (left and not live.sealed):
                del self.sessions[name]
                self._settled.pop(name, None)
                changed = True
        return changed

    def _look_for_new(self, now: float, every: bool) -> tuple[bool, bool]:
        """Take up sessions that are being written. (whether any was, whether every folder had its record)"""
        try:
            entries = list_records(self.root)
        except GauntletError:
            return False, True
        changed, whole = False, True
        for entry in entries:
            name = entry.session
            if name in self.sessions or (name in self._settled and not every):
                continue
            try:
                mtime = (entry.folder / FILE_NAME).stat().st_mtime
            except OSError:
                whole = False
                continue
            if self._settled.get(name) == mtime:
                continue
            if writing_state(entry.folder) == "live":
                live = LiveSession(name, entry.folder)
                live.feed(self.plans, now)
                self.sessions[name] = live
                changed = True
            else:
                self._settled[name] = mtime
        return changed, whole

    def picture(self) -> dict[str, Any]:
        """Everything a board shows, running sessions first."""
        with self._lock:
            now = self._clock()
            found = [live.picture(now) for live in self.sessions.values()]
        found.sort(key=lambda p: (p["sealed"], p["enclosure"], p["session"]))
        return {"version": self.version, "sessions": found}

    def text(self) -> str:
        """The picture as one line of JSON."""
        return json.dumps(self.picture(), ensure_ascii=False, separators=(",", ":"))

    async def run(self) -> None:
        """Poll for ever, telling the watchers. One task per server."""
        self._loop = asyncio.get_running_loop()
        while True:
            if await asyncio.to_thread(self.poll) and self._watchers:
                text = self.text()
                for queue in list(self._watchers):
                    _put_latest(queue, text)
            await asyncio.sleep(POLL_S)

    def watch(self) -> asyncio.Queue[str]:
        """A queue that always holds the newest picture, never more than one."""
        queue: asyncio.Queue[str] = asyncio.Queue(maxsize=1)
        self._watchers.add(queue)
        return queue

    def unwatch(self, queue: asyncio.Queue[str]) -> None:
        """Watch no more."""
        self._watchers.discard(queue)

    @property
    def watchers(self) -> int:
        """How many watch now."""
        return len(self._watchers)


def _put_latest(queue: asyncio.Queue[str], text: str) -> None:
    if queue.full():
        queue.get_nowait()  # a slow watcher skips pictures, never the newest
    queue.put_nowait(text)
