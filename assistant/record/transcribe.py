"""Paper that was used while the computer was down, entered afterwards as late entries.

Each names who wrote the paper and who typed it in, when it happened as the paper says and when it was
entered; the scan goes along by hash. The core's fold skips them, so a late entry never counts as a wait that
was watched."""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from assistant.errors import UsageError
from assistant.record.lines.envelope import is_wall_time
from assistant.record.storage.file_store import storage_error
from assistant.record.storage.files import Files, OsFiles, make_folders, write_whole
from assistant.record.writer import RecordWriter, create_record

MAX_SCAN_BYTES = 1 << 28
SCANS = "scans"
_SUFFIXES = {".pdf", ".png", ".jpg", ".jpeg", ".tif", ".tiff"}


@dataclass(frozen=True)
class PaperEntry:
    """One row of the paper. `happened`: RFC 3339, as written down, or "" where the paper gives no time."""

    happened: str
    text: str


def read_entries(data: bytes, where: str = "") -> list[PaperEntry]:
    """Rows of a CSV with the columns `happened` and `text`. Raises UsageError naming the row."""
    try:
        rows = list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"), newline="")))
    except (UnicodeDecodeError, csv.Error) as error:
        raise UsageError("The entries can't be read.", where=where, expected="a CSV file in UTF-8") from error
    entries = []
    for number, row in enumerate(rows, 2):
        happened, text = (row.get("happened") or "").strip(), (row.get("text") or "").strip()
        if not text or (happened and not is_wall_time(happened)) or None in row:
            raise UsageError(
                "This row isn't an entry.",
                where=f"{where}:{number}",
                expected="the columns happened (RFC 3339, like 2026-03-14T09:15:00+01:00, or empty) and text",
            )
        entries.append(PaperEntry(happened, text))
    if not entries:
        raise UsageError(
            "There are no entries.", where=where, expected="a first row 'happened,text', then one row each"
        )
    return entries


def keep_scan(session: Path, scan: Path, files: Files | None = None) -> str:
    """Copy a scan into the session's `scans/` under its SHA-256, which is returned."""
    suffix = scan.suffix.lower()
    if suffix not in _SUFFIXES:
        raise UsageError("This isn't a scan.", where=str(scan), expected=", ".join(sorted(_SUFFIXES)))
    try:
        if scan.stat().st_size > MAX_SCAN_BYTES:
            raise UsageError("The scan is too large.", where=str(scan), expected="at most 256 MiB")
        data = scan.read_bytes()
    except OSError as error:
        raise UsageError(f"The scan can't be read: {error.strerror}.", where=str(scan)) from error
    name = hashlib.sha256(data).hexdigest()
    files = files or OsFiles()
    try:
        make_folders(files, session / SCANS)
        write_whole(files, session / SCANS / f"{name}{suffix}", data)
    except OSError as error:
        raise storage_error(error, str(session / SCANS)) from error
    return name


def transcribe(
    writer: RecordWriter,
    entries: Sequence[PaperEntry],
    scans: Sequence[Path],
    *,
    author: str,
    transcriber: str,
    wall: str,
    t_ms: int | None = None,
    files: Files | None = None,
) -> list[str]:
    """Append the scans and entries to an open record; the scans' hashes. All entries are one write.

    Raises UsageError without author, transcriber or scan: an entry that can't be held against its paper is
    none."""
    if not author.strip() or not transcriber.strip():
        raise UsageError("A late entry needs who wrote the paper and who types it in.")
    if not scans:
        raise UsageError("A late entry needs the scan of its paper.")
    hashes = [keep_scan(writer.folder, scan, files) for scan in scans]
    names = {"author": author, "transcriber": transcriber}
    facts: list[dict[str, Any]] = [
        {"kind": "record_scan_attached", "v": 1, "data": {**names, "scan_sha256": sha}} for sha in hashes
    ]
    facts += [
        {
            "kind": "record_late_entry",
            "v": 1,
            "data": {
                **names,
                "happened": entry.happened,
                "entered": wall,
                "text": entry.text,
                "scan_sha256": hashes,
                "contemporaneous": False,
            },
        }
        for entry in entries
    ]
    writer.append(facts, writer.t_ms if t_ms is None else max(t_ms, writer.t_ms), wall)
    return hashes


def transcription_record(
    root: Path | str,
    entries: Sequence[PaperEntry],
    scans: Sequence[Path],
    *,
    header: dict[str, Any],
    enclosure: str,
    stamp: str,
    session_id: str,
    rules: int,
    wall: str,
    author: str,
    transcriber: str,
) -> Path:
    """A whole session that was on paper, as a sealed record of its own; its folder.

    Its header says "transcribed", its verdict that nothing in it was watched by the assistant.
    """
    for scan in scans:
        if not scan.is_file():
            raise UsageError("There is no such scan.", where=str(scan))
    writer = create_record(
        root,
        {**header, "transcribed": True, "author": author, "transcriber": transcriber},
        "live",
        enclosure=enclosure,
        stamp=stamp,
        session_id=session_id,
        rules=rules,
        wall=wall,
        owner=transcriber,
    )
    with writer:
        transcribe(writer, entries, scans, author=author, transcriber=transcriber, wall=wall)
        writer.seal(
            writer.t_ms,
            wall,
            verdict="transcribed from paper; no wait in it was watched",
            left_open=["the supervisor compares it with the scan"],
        )
        return writer.folder
