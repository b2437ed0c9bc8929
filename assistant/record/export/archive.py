"""One self-contained archive of a session: record, clips, sound, site files, approvals, reports, and how to verify
it.

The same record gives the same bytes: entries are sorted, carry no date, and are stored rather than
compressed, since compressors differ from version to version."""

from __future__ import annotations

import hashlib
import io
import shutil
import stat
import zipfile
from collections.abc import Sequence
from importlib import resources
from pathlib import Path
from typing import BinaryIO

from assistant.errors import StorageError
from assistant.record.beside.attached import attached_names
from assistant.record.export.csv_facts import csv_bytes
from assistant.record.export.pdf import pdf_bytes
from assistant.record.export.summary import ReportSummary
from assistant.record.reader import Record
from assistant.record.storage.file_store import FILE_NAME, TAILS

FOLDERS = ("clips", "site", "approvals", "scans", TAILS)
_EPOCH = (1980, 1, 1, 0, 0, 0)  # the earliest date a ZIP can hold: "no date"


def write_archive(record: Record, summary: ReportSummary, out: BinaryIO, *, sound: bool = True) -> None:
    """Write the archive (ZIP) to `out`, large files piece by piece. `sound`: with the sound that the record names,
    where there is one. Links in the session's folder are left out: they could lead anywhere. Raises StorageError."""
    assert record.folder
    files: dict[str, bytes | Path] = {FILE_NAME: record.folder / FILE_NAME}
    for name in FOLDERS:
        files.update(_folder(record.folder, name))
    named = sorted({name for line in record.lines for name, _ in attached_names(line.kind, line.data)})
    for name in named if sound else ():
        path = record.folder / name
        if path.is_file() and not path.is_symlink():
            files[name] = path
    files["report-a4.pdf"] = pdf_bytes(record, summary, "a4")
    files["report-letter.pdf"] = pdf_bytes(record, summary, "letter")
    files["facts.csv"] = csv_bytes(record)
    verifier = resources.files(__package__).joinpath("independent_verifier.py.txt").read_bytes()
    files["independent_verifier.py"] = verifier.replace(b"\r\n", b"\n")
    files["HOW_TO_VERIFY.txt"] = how_to_verify(record, [name for name in named if name not in files]).encode()
    files["SHA256SUMS"] = "".join(f"{_sha256(files[name])}  {name}\n" for name in sorted(files)).encode()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as archive:
        for name in sorted(files):
            entry = zipfile.ZipInfo(name, _EPOCH)
            entry.create_system = 3
            entry.external_attr = (stat.S_IFREG | 0o600) << 16
            with _open(files[name]) as source:
                entry.file_size = source.seek(0, io.SEEK_END)  # known first, so that a small one needs no Zip64
                source.seek(0)
                with archive.open(entry, "w") as target:
                    shutil.copyfileobj(source, target, 1 << 20)


def archive_bytes(record: Record, summary: ReportSummary, *, sound: bool = True) -> bytes:
    """The archive in memory."""
    out = io.BytesIO()
    write_archive(record, summary, out, sound=sound)
    return out.getvalue()


def how_to_verify(record: Record, left_out: Sequence[str] = ()) -> str:
    """Plain words for somebody who has nothing of ours. `left_out`: what the record names and isn't here."""
    seal = record.seal
    kind = "" if record.kind == "live" else f"This is a {record.kind} record. Nothing was cleaned.\n\n"
    sealed = "   This record has no seal: it was not finished."
    if seal:
        sealed = (
            f"   The seal is line {seal.seq}. Its SHA-256 is\n   {seal.sha256}\n"
            "   and stands at the foot of each page of the report.\n"
            f"   sed -n {seal.seq}p record.jsonl | tr -d '\\n' | sha256sum"
        )
    missing = f".\n                  Not in this archive: {', '.join(left_out)}" if left_out else ""
    return f"""How to verify this record with nothing but sha256sum and Python

{kind}1. That these files are the ones that were exported:
   sha256sum -c SHA256SUMS

2. That no line of the record was changed, dropped, doubled, moved or put in:
   python3 independent_verifier.py record.jsonl
   It is 40 lines long and imports nothing but Python's own library. Read it first. It also holds each clip,
   sound, site file, approval, scan and tail against the SHA-256 that the record names it by. A clip or a sound
   may have been deleted since; its SHA-256 stays in the record.

3. That it is the record that was sealed:
{sealed}

4. That it is the record that the site had: compare with the site's witness statement, a page with a Merkle
   root (RFC 9162) that the site printed or sent away. The statement of this export lies beside this archive.

What the files are
   {FILE_NAME:14} one fact a line, canonical JSON (RFC 8785); "prev" is the SHA-256 of the line before
   clips/         what was heard, as far as the site keeps it; each file's name is its SHA-256
   session.wav    demo, and practice with a virtual operator: both voices as they sounded. Live work and practice
                  at a headset have none: only the clips that the site chose are kept{missing}
   site/          the site's own files as they were: enclosure, agents, procedure
   approvals/     who approved the procedure
   scans/         scans of paper that was entered afterwards; each file's name is its SHA-256
   tails/         torn last writes that recovery set aside
   facts.csv, report-a4.pdf, report-letter.pdf   the same facts for reading

Signatures are Ed25519 (RFC 8032) over the line's bytes with "signature" and "digest" set to zeros.
"""


def _folder(session: Path, name: str) -> dict[str, Path]:
    folder = session / name
    if folder.is_symlink() or not folder.is_dir():
        return {}
    found = {}
    for path in sorted(folder.rglob("*")):
        inside = path.relative_to(session)
        links = any(part.is_symlink() for part in (path, *path.parents) if session in part.parents)
        if not links and path.is_file():
            found[inside.as_posix()] = path
    return found


def _open(file: bytes | Path) -> io.BytesIO | io.BufferedReader:
    if isinstance(file, bytes):
        return io.BytesIO(file)
    try:
        return file.open("rb")
    except OSError as error:
        raise StorageError(f"A file of the session can't be read: {error.strerror}.", where=str(file)) from error


def _sha256(file: bytes | Path) -> str:
    with _open(file) as source:
        return hashlib.file_digest(source, "sha256").hexdigest()
