"""Write a record: every fact of one decision in one write and one sync, before a word of it is spoken."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from assistant.errors import RecordError, StorageError
from assistant.record.lines.chain import seed
from assistant.record.lines.envelope import AFTER_SEAL, Line, encode_line
from assistant.record.lines.merkle import RunningRoot
from assistant.record.lines.seal import seal_fact, with_digest
from assistant.record.site_log import CHECKPOINT_LINES, OpenHead, SiteLog
from assistant.record.storage.file_store import FileLineStore, storage_error
from assistant.record.storage.files import Files, OsFiles
from assistant.record.storage.locks import WriterLock
from assistant.record.storage.paths import root_of_session, session_folder
from assistant.record.storage.store import SLOW_S, LineRef, LineStore, SlowStorageError

CLOSING_KINDS = ("record_sealed", *AFTER_SEAL)


class RecordWriter:
    """The one writer of one record. Made by `create_record` or `recover`.

    Raises StorageError from `append` when the disk is full or fails; the writer is then `failed`, nothing
    more is taken, and the record goes on through `recover`. Memory doesn't grow with the record."""

    def __init__(
        self,
        store: LineStore,
        *,
        kind: str,
        rules: int,
        clock: Callable[[], float] = time.monotonic,
        folder: Path | None = None,
        locks: Sequence[WriterLock] = (),
        witness: SiteLog | None = None,
        files: Files | None = None,
    ) -> None:
        self.kind = kind
        self.rules = rules
        self._folder = folder
        self.count = 0
        self.head = seed(kind)
        self.t_ms = 0
        self.failed = False
        self.sealed = False
        self.warnings: list[str] = []
        self.started_at_s: float | None = None  # when the write under way began, for a watchdog; else None
        self._store = store
        self._clock = clock
        self._locks = list(locks)
        self._tree = RunningRoot()
        self._witness = witness
        self._checkpoint = 0
        self._open_head: OpenHead | None = None
        if witness and folder:
            try:
                self._open_head = OpenHead(witness.folder, self.session, files or OsFiles())
            except OSError as error:
                raise storage_error(error, str(witness.folder)) from error

    @property
    def session(self) -> str:
        """The record's name in the witness log: enclosure/session."""
        return f"{self._folder.parent.name}/{self._folder.name}" if self._folder else ""

    @property
    def folder(self) -> Path:
        """The folder of the record. Raises RecordError for one that is kept in memory."""
        if self._folder is None:
            raise RecordError("This record has no folder.", where=self.where)
        return self._folder

    @property
    def where(self) -> str:
        """The file, for messages."""
        return self._store.where

    def resume_from(self, lines: Sequence[Line]) -> None:
        """Take up a chain that was read back; `lines` must be all of it."""
        for line in lines:
            self._tree.add(line.raw)
        if lines:
            self.count, self.head, self.t_ms = lines[-1].seq, lines[-1].sha256, lines[-1].t_ms
        self._checkpoint = self.count

    def append(self, facts: Sequence[dict[str, Any]], t_ms: int, wall: str) -> list[LineRef]:
        """Put facts (wire form) on disk, all in one write and one sync, and return where they went.

        `t_ms`: monotonic milliseconds since the session's start; `wall`: RFC 3339 with offset.
        Raises RecordError for a fact that can't be written (then none is), StorageError for a failing disk,
        SlowStorageError when it is live work and the disk took over a second (then all are written, see its `refs`).
        """
        for fact in facts:
            if fact.get("kind") in CLOSING_KINDS:
                raise RecordError(
                    f"'{fact['kind']}' lines are made by sealing and signing only.", where=self.where
                )
        return self._append(facts, t_ms, wall)

    def _append(self, facts: Sequence[dict[str, Any]], t_ms: int, wall: str) -> list[LineRef]:
        if self.sealed:
            raise RecordError("The record is sealed; only signatures may follow.", where=self.where)
        if t_ms < self.t_ms:
            raise RecordError(f"Time ran backwards: {t_ms} ms after {self.t_ms} ms.", where=self.where)
        lines: list[bytes] = []
        refs: list[LineRef] = []
        head = self.head
        for seq, fact in enumerate(facts, self.count + 1):
            raw = encode_line(
                seq=seq, t_ms=t_ms, wall=wall, record=self.kind, rules=self.rules, fact=fact, prev=head
            )
            if fact["kind"] == "record_sealed":
                raw = with_digest(raw)
            head = hashlib.sha256(raw).hexdigest()
            lines.append(raw)
            refs.append(LineRef(seq, head))
        if lines:
            self._put(lines, refs, t_ms, wall)
        return refs

    def _put(self, lines: list[bytes], refs: list[LineRef], t_ms: int, wall: str) -> None:
        self.started_at_s = began = self._clock()
        try:
            self._store.append(b"".join(raw + b"\n" for raw in lines))
        except StorageError:
            self.failed = True
            raise
        finally:
            self.started_at_s = None
        took_s = self._clock() - began
        for raw in lines:
            self._tree.add(raw)
        self.count, self.head, self.t_ms = refs[-1].seq, refs[-1].sha256, t_ms
        self._tell_witness(wall)
        if took_s > SLOW_S and self.kind == "live":      # elsewhere nobody stands there waiting
            slow = SlowStorageError(took_s, where=self.where)
            slow.refs = refs
            raise slow

    def _tell_witness(self, wall: str) -> None:
        """The facts are safe already: a witness that can't write is a warning, not a lost session."""
        try:
            if self._open_head:
                self._open_head.write(self.count, self.head)
            if self._witness and self.count - self._checkpoint >= CHECKPOINT_LINES:
                self._checkpoint = self.count
                self._witness.note("lines", self.session, self.count, self.head, wall)
        except (OSError, StorageError, RecordError) as error:
            self.warnings.append(f"The witness log can't be written: {getattr(error, 'what', error)}")

    def witness(self, event: str, wall: str, note: str = "") -> None:
        """Make an entry for this record now. Raises StorageError."""
        if self._witness:
            self._checkpoint = self.count
            self._witness.note(event, self.session, self.count, self.head, wall, note)

    def seal(
        self, t_ms: int, wall: str, *, verdict: str, left_open: Sequence[str] = (), state_sha256: str = ""
    ) -> LineRef:
        """Close the record: lines, Merkle root, duration, the core's verdict, what is left open. No fact may
        follow. `state_sha256`: of the core's end state, which replay must arrive at. Raises as `append`
        does."""
        if not self.sealed:
            try:
                self._store.end_here()
            except StorageError:
                self.failed = True
                raise
        fact = seal_fact(
            count=self.count,
            root=self._tree.root().hex(),
            duration_ms=t_ms,
            verdict=verdict,
            left_open=list(left_open),
            state_sha256=state_sha256,
        )
        late: SlowStorageError | None = None
        try:
            ref = self._append([fact], t_ms, wall)[0]
        except SlowStorageError as slow:
            late, ref = slow, slow.refs[0]
        self.sealed = True
        try:
            self.witness("sealed", wall)
            if self._open_head:
                self._open_head.done()
        except (OSError, StorageError, RecordError) as error:
            self.warnings.append(f"The witness log can't be written: {getattr(error, 'what', error)}")
        finally:
            self.close()
        if late:
            raise late
        return ref

    def close(self) -> None:
        """Let go of file and locks; the record stays as it is, open or sealed. Twice does no harm."""
        self._store.close()
        if self._open_head:
            self._open_head.close()
        for lock in self._locks:
            lock.release()
        self._locks = []

    def __enter__(self) -> RecordWriter:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def create_record(
    root: Path | str,
    header: dict[str, Any],
    kind: str,
    *,
    enclosure: str,
    stamp: str,
    session_id: str,
    rules: int,
    wall: str,
    t_ms: int = 0,
    owner: str = "",
    clock: Callable[[], float] = time.monotonic,
    files: Files | None = None,
    witness: bool = True,
) -> RecordWriter:
    """Open a new record at `<root>/<enclosure>/<stamp>-<session_id>/` with `header` as its first line.

    `header`: who, where, what, with what. `stamp`: UTC, 20260314T091500Z. `clock`: seconds, times the disk
    only. Raises RecordError when the session or (live) the enclosure is being written, StorageError for the
    disk."""
    folder = session_folder(root, enclosure, stamp, session_id)
    files = files or OsFiles()
    owner = owner or str(header.get("technician", "")) or "an unnamed session"
    locks: list[WriterLock] = []
    store: LineStore | None = None
    try:
        if kind == "live" and not header.get("transcribed"):  # paper is entered while others work
            locks.append(WriterLock(folder.parent, owner, what="enclosure", files=files))
        locks.append(WriterLock(folder, owner, files=files))
        store = FileLineStore(folder, new=True, files=files, reserve=True)
        log = SiteLog(root_of_session(folder), files=files) if witness else None
        writer = RecordWriter(
            store, kind=kind, rules=rules, clock=clock, folder=folder, locks=locks, witness=log, files=files
        )
        writer.append([{"kind": "record_opened", "v": 1, "data": header}], t_ms, wall)
        writer.witness("opened", wall)
        return writer
    except BaseException:
        if store:
            store.close()
        for lock in locks:
            lock.release()
        raise
