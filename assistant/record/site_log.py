"""The witness log: a running Merkle root (RFC 9162) over what happened to the site's records.

Each entry names a record, how many lines it had and the hash of its last line; each carries the root over all
entries so far. A root printed or sent away today proves later that no record before it was changed or
dropped. Entries are made when a record opens, every CHECKPOINT_LINES lines, on recovery, seal, signature,
export and deletion of a clip. Between two of them an open record's last line is kept in a small file of its
own, so that whole lines cut off its tail are found too. The log is written after the record, never ahead of
it."""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import filelock

from assistant.errors import RecordError, StorageError
from assistant.record.lines.canonical import NotCanonical, from_canonical, to_canonical
from assistant.record.lines.merkle import RunningRoot, inclusion_proof, leaf_hash
from assistant.record.storage.file_store import storage_error
from assistant.record.storage.files import Files, OsFiles, make_folders, write_all, write_whole
from assistant.record.storage.paths import WITNESS_FOLDER

# Rarer than one append in a hundred, so that the slowest percent of appends stays an append's own time.
CHECKPOINT_LINES = 256
_FIELDS = frozenset(("n", "event", "session", "count", "head", "wall", "note", "root"))


@dataclass(frozen=True)
class SiteLogReport:
    """State of a log: entries, root as hex, and what is wrong with it (empty: nothing)."""

    size: int
    root: str
    problems: tuple[str, ...] = ()
    marks: dict[str, dict[int, str]] = field(
        default_factory=dict
    )  # session -> line number -> its hash, as seen


class SiteLog:
    """The log of one records root. Safe for several processes at once."""

    def __init__(self, root: Path | str, *, files: Files | None = None) -> None:
        self.folder = Path(root) / WITNESS_FOLDER
        self.path = self.folder / "log.jsonl"
        self._files = files or OsFiles()

    @property
    def exists(self) -> bool:
        """Whether anything was ever witnessed here."""
        return self.path.is_file()

    def note(self, event: str, session: str, count: int, head: str, wall: str, note: str = "") -> str:
        """Add an entry, durable; returns the new root as hex. `session`: the record's folder below the root.

        Raises StorageError.
        """
        try:
            make_folders(self._files, self.folder)
            with filelock.FileLock(self.folder / "log.lock", timeout=30, mode=0o600):
                running, offset = self._running()
                entry = {
                    "n": running.size + 1,
                    "event": event,
                    "session": session,
                    "count": count,
                    "head": head,
                    "wall": wall,
                    "note": note,
                }
                running.add(to_canonical(entry))
                root = running.root().hex()
                line = to_canonical({**entry, "root": root}) + b"\n"
                fd = self._files.open(self.path, os.O_WRONLY | os.O_APPEND | os.O_CREAT)
                try:
                    write_all(self._files, fd, line)
                    self._files.sync(fd)
                finally:
                    self._files.close(fd)
                if running.size == 1:
                    self._files.sync_folder(self.folder)
                self._remember(running, offset + len(line), root)
                return root
        except OSError as error:
            raise storage_error(error, str(self.path)) from error
        except filelock.Timeout:
            raise StorageError("The witness log is held by another process.", where=str(self.path)) from None

    def _remember(self, running: RunningRoot, offset: int, root: str) -> None:
        state = {
            "size": running.size,
            "offset": offset,
            "root": root,
            "peaks": [p.hex() for p in running.peaks],
        }
        write_whole(self._files, self.folder / "state.json", to_canonical(state), durable=False)

    def _running(self) -> tuple[RunningRoot, int]:
        """The tree so far and the log's length; from the state file where it fits, else from the log."""
        length = self.path.stat().st_size if self.path.exists() else 0
        with contextlib.suppress(OSError, ValueError, KeyError, TypeError):
            state = json.loads((self.folder / "state.json").read_bytes())
            running = RunningRoot(state["size"], [bytes.fromhex(p) for p in state["peaks"]])
            if state["offset"] == length and running.root().hex() == state["root"]:
                return running, length
        running, good = RunningRoot(), 0
        for entry, raw in self._entries():
            if isinstance(entry, str):
                break
            running.add(_leaf(entry))
            good += len(raw)
        if good < length:
            self._set_tail_aside(good)
        return running, good

    def _set_tail_aside(self, good: int) -> None:
        with open(self.path, "rb") as log:
            log.seek(good)
            tail = log.read()
        if b"\n" in tail:
            raise RecordError(
                "The witness log is damaged in the middle.",
                where=str(self.path),
                try_next="Run 'assistant verify --site' on the records, and keep a copy first.",
            )
        write_whole(self._files, self.folder / f"tail-at-{good}.bin", tail)
        fd = self._files.open(self.path, os.O_RDWR)
        try:
            self._files.truncate(fd, good)
            self._files.sync(fd)
        finally:
            self._files.close(fd)

    def _entries(self) -> Iterator[tuple[dict[str, Any] | str, bytes]]:
        """Each entry with its bytes; a string instead of an entry says what is wrong, and ends it."""
        if not self.exists:
            return
        with open(self.path, "rb") as log:
            number = 0
            while raw := log.readline(1 << 16):
                number += 1
                try:
                    if not raw.endswith(b"\n"):
                        raise NotCanonical("torn")
                    entry = from_canonical(raw[:-1])
                    if (
                        not isinstance(entry, dict)
                        or entry.keys() != _FIELDS
                        or entry["n"] != number
                        or type(entry["count"]) is not int
                        or not isinstance(entry["session"], str)
                    ):
                        raise NotCanonical("not a witness entry")
                except NotCanonical as error:
                    yield f"entry {number}: {error}", raw
                    return
                yield entry, raw

    def check(self) -> SiteLogReport:
        """Work every root out again. Never raises for a damaged log: it is in the report."""
        running = RunningRoot()
        problems: list[str] = []
        marks: dict[str, dict[int, str]] = {}
        for entry, _ in self._entries():
            if isinstance(entry, str):
                problems.append(entry)
                break
            running.add(_leaf(entry))
            if running.root().hex() != entry["root"]:
                problems.append(f"entry {entry['n']}: its root doesn't follow from the entries before")
                break
            if entry["count"]:
                marks.setdefault(entry["session"], {})[entry["count"]] = str(entry["head"])
        if (self.folder / "open").is_dir():
            for path in (self.folder / "open").glob("*.head"):
                session = path.stem.replace("~", "/")
                if head := OpenHead.read(self.folder, session):
                    marks.setdefault(session, {})[head[0]] = head[1]
        return SiteLogReport(running.size, running.root().hex(), tuple(problems), marks)

    def root_at(self, size: int) -> str:
        """The root when the log had `size` entries, to be held against an older print. Raises RecordError."""
        running = RunningRoot()
        for entry, _ in self._entries():
            if running.size == size or isinstance(entry, str):
                break
            running.add(_leaf(entry))
        if running.size != size:
            raise RecordError(f"The witness log has no {size} whole entries.", where=str(self.path))
        return running.root().hex()

    def proof(self, session: str) -> dict[str, Any] | None:
        """The newest entry of a session with its audit path, or None."""
        leaves: list[bytes] = []
        found: dict[str, Any] | None = None
        for entry, _ in self._entries():
            if isinstance(entry, str):
                break
            leaf = _leaf(entry)
            if entry["session"] == session:
                found = {"index": len(leaves), "entry": leaf.decode()}
            leaves.append(leaf_hash(leaf))
        if found:
            running = RunningRoot()
            for leaf in leaves:
                running.add_hash(leaf)
            found["size"] = len(leaves)
            found["root"] = running.root().hex()
            found["path"] = [step.hex() for step in inclusion_proof(leaves, found["index"])]
        return found

    def seen(self, session: str) -> tuple[int, str] | None:
        """Lines and last hash that were seen of a session, from the log and from its open-record file."""
        newest: tuple[int, str] | None = None
        for entry, _ in self._entries():
            if isinstance(entry, str):
                break
            if entry["session"] == session and entry["count"]:
                newest = (entry["count"], str(entry["head"]))
        head = OpenHead.read(self.folder, session)
        return max(filter(None, (newest, head)), default=None, key=lambda pair: pair[0])


class OpenHead:
    """The last line of a record that is being written: one fixed-length line, written over in place."""

    def __init__(self, folder: Path, session: str, files: Files) -> None:
        self._files = files
        make_folders(files, folder / "open")
        self._path = self._name(folder, session)
        self._fd: int | None = files.open(self._path, os.O_RDWR | os.O_CREAT)

    @staticmethod
    def _name(folder: Path, session: str) -> Path:
        return folder / "open" / f"{session.replace('/', '~')}.head"

    def write(self, count: int, head: str) -> None:
        """One small write without a sync: it survives the process, and is never ahead of the record."""
        if self._fd is not None:
            self._files.write_at(self._fd, f"{count:012d} {head}\n".encode(), 0)

    def done(self) -> None:
        """The record is sealed and in the log: the file goes."""
        self.close()
        self._path.unlink(missing_ok=True)

    def close(self) -> None:
        """Let go of the file; it stays."""
        if self._fd is not None:
            fd, self._fd = self._fd, None
            self._files.close(fd)

    @classmethod
    def read(cls, folder: Path, session: str) -> tuple[int, str] | None:
        """Lines and last hash, or None."""
        with contextlib.suppress(OSError, ValueError):
            text = cls._name(folder, session).read_bytes()[:200].decode("ascii")
            count, head = text.split()
            if len(head) == 64:
                return int(count), head
        return None


def _leaf(entry: dict[str, Any]) -> bytes:
    return to_canonical({key: value for key, value in entry.items() if key != "root"})


def printed_statement(report: SiteLogReport, site: str, wall: str) -> str:
    """A page to print and keep away from the computer."""
    groups = " ".join(report.root[i : i + 8] for i in range(0, 64, 8))
    return (
        f"Witness statement\n\nSite: {site}\nTime: {wall}\nEntries: {report.size}\n"
        f"Root (RFC 9162, SHA-256):\n"
        f"  {groups}\n\nKeep this page. As long as the log still gives this root for its first "
        f"{report.size} entries,\nno record named in them was changed, shortened or dropped since.\n"
    )
