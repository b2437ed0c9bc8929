"""What the site enters by hand: preparations made in an enclosure, and duties done without a session.

One canonical line each in `<records>/_site/entries.jsonl`, appended, synced, never rewritten; a mistake is struck
by a later line that names it. These lines and the records are what the register is made from.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import filelock

from assistant.errors import StorageError, UsageError
from assistant.record.lines.canonical import NotCanonical, from_canonical, to_canonical
from assistant.record.lines.safe_text import printable
from assistant.record.storage.files import OsFiles, make_folders, write_all
from assistant.review.session.times import parse_wall

PREPARATION, DONE, STRUCK = "preparation", "done", "struck"
# Duties that need no session of the assistant.
MANUAL = ("glove_change", "sleeve_change", "leak_test", "certification")


@dataclass(frozen=True)
class SiteEntry:
    """One entry. `what`: preparation or done; `name`: the preparation's number, or the duty; `at`: when it was
    (RFC 3339); `entered`: when it was entered."""

    number: int
    what: str
    enclosure: str
    name: str
    at: str
    note: str
    by: str
    entered: str


def struck_number(name: str) -> int | None:
    """The entry's number that a strike names, or None: plain digits only, as other scripts' digits aren't numbers."""
    return int(name) if name.isascii() and name.isdecimal() and len(name) < 10 else None


def _entry(raw: bytes) -> SiteEntry | None:
    try:
        entry = SiteEntry(**from_canonical(raw))
    except (NotCanonical, TypeError):
        return None
    texts = (entry.what, entry.enclosure, entry.name, entry.at, entry.note, entry.by, entry.entered)
    if type(entry.number) is not int or not all(isinstance(text, str) for text in texts):
        return None
    return entry if entry.what in (PREPARATION, DONE, STRUCK) and parse_wall(entry.at) else None


class SiteEntries:
    """The entries of one records root."""

    def __init__(self, root: Path) -> None:
        self.file = Path(root) / "_site" / "entries.jsonl"

    def all(self) -> list[SiteEntry]:
        """Entries that stand, oldest first."""
        return self.read()[0]

    def read(self) -> tuple[list[SiteEntry], list[int]]:
        """Entries that stand, oldest first, and the numbers of the lines that can't be understood: these are skipped
        and told, so that nothing stored by one person stops another. A torn last line is normal and not among them."""
        found: dict[int, SiteEntry] = {}
        odd: list[int] = []
        try:
            *whole, _torn = self.file.read_bytes().split(b"\n")
        except OSError:
            return [], []
        for number, raw in enumerate(whole, 1):
            entry = _entry(raw)
            if entry is None:
                odd.append(number)
            elif entry.what != STRUCK:
                found[entry.number] = entry
            elif (struck := struck_number(entry.name)) is not None:
                found.pop(struck, None)
            else:
                odd.append(number)
        return sorted(found.values(), key=lambda e: e.at), odd

    def add(self, what: str, enclosure: str, name: str, at: str, note: str, by: str, entered: str) -> None:
        """Append an entry. Raises UsageError for one that can't be right, StorageError."""
        name, note = " ".join(name.split()), " ".join(note.split())
        if what not in (PREPARATION, DONE, STRUCK):
            raise UsageError("This isn't an entry of the register.")
        if (
            not name
            or len(name) > 120
            or printable(name) != name
            or len(note) > 400
            or printable(note, 400) != note
        ):
            raise UsageError("The entry needs a name of 1 to 120 printable characters.")
        if what == STRUCK and not any(
            e.number == struck_number(name) and e.enclosure == enclosure for e in self.all()
        ):
            raise UsageError("There is no such entry to strike.", expected="the number of an entry of this enclosure")
        if what == DONE and name not in MANUAL:
            raise UsageError("This can't be entered by hand.", expected=", ".join(MANUAL))
        moment, now = parse_wall(at), parse_wall(entered)
        if moment is None or now is None or moment > now:
            raise UsageError("The time is missing or lies in the future.")
        try:
            make_folders(OsFiles(), self.file.parent)
            with filelock.FileLock(self.file.with_suffix(".lock"), timeout=10, mode=0o600):
                self._append(
                    {
                        "what": what,
                        "enclosure": enclosure,
                        "name": name,
                        "at": at,
                        "note": note,
                        "by": by,
                        "entered": entered,
                    }
                )
        except OSError as error:
            raise StorageError("The entry can't be written.", where=str(self.file)) from error

    def _append(self, item: dict[str, Any]) -> None:
        held = self.file.read_bytes() if self.file.exists() else b""
        number = held.count(b"\n") + 1
        start = b"" if not held or held.endswith(b"\n") else b"\n"  # after a torn line
        files = OsFiles()
        fd = files.open(self.file, os.O_WRONLY | os.O_APPEND | os.O_CREAT)
        try:
            write_all(files, fd, start + to_canonical({"number": number + len(start), **item}) + b"\n")
            files.sync(fd)
        finally:
            files.close(fd)
