"""One self-contained archive of a session: record, clips, site files, approvals, reports, and how to verify
it.

The same record gives the same bytes: entries are sorted, carry no date, and are stored rather than
compressed, since compressors differ from version to version."""

from __future__ import annotations

import hashlib
import io
import stat
import zipfile
from importlib import resources
from pathlib import Path

from assistant.errors import StorageError
from assistant.record.export.csv_facts import csv_bytes
from assistant.record.export.pdf import pdf_bytes
from assistant.record.export.summary import ReportSummary
from assistant.record.file_store import FILE_NAME, TAILS
from assistant.record.reader import Record

FOLDERS = ("clips", "site", "approvals", "scans", TAILS)
_EPOCH = (1980, 1, 1, 0, 0, 0)  # the earliest date a ZIP can hold: "no date"


def archive_bytes(record: Record, summary: ReportSummary) -> bytes:
    """The archive (ZIP). Links in the session's folder are left out: they could lead anywhere."""
    assert record.folder
    files = {FILE_NAME: (record.folder / FILE_NAME).read_bytes()}
    for name in FOLDERS:
        files.update(_folder(record.folder, name))
    files["report-a4.pdf"] = pdf_bytes(record, summary, "a4")
    files["report-letter.pdf"] = pdf_bytes(record, summary, "letter")
    files["facts.csv"] = csv_bytes(record)
    verifier = resources.files(__package__).joinpath("independent_verifier.py.txt").read_bytes()
    files["independent_verifier.py"] = verifier.replace(b"\r\n", b"\n")
    files["HOW_TO_VERIFY.txt"] = how_to_verify(record).encode()
    sums = "".join(f"{hashlib.sha256(files[name]).hexdigest()}  {name}\n" for name in sorted(files))
    files["SHA256SUMS"] = sums.encode()
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as archive:
        for name in sorted(files):
            entry = zipfile.ZipInfo(name, _EPOCH)
            entry.create_system = 3
            entry.external_attr = (stat.S_IFREG | 0o600) << 16
            archive.writestr(entry, files[name])
    return out.getvalue()


def how_to_verify(record: Record) -> str:
    """Plain words for somebody who has nothing of ours."""
    seal = record.seal
    kind = "" if record.kind == "live" else f"This is a {record.kind} record. Nothing was cleaned.\n\n"
    sealed = "   This record has no seal: it was not finished."
    if seal:
        sealed = (
            f"   The seal is line {seal.seq}. Its SHA-256 is\n   {seal.sha256}\n"
            "   and stands at the foot of each page of the report.\n"
            f"   sed -n {seal.seq}p record.jsonl | tr -d '\\n' | sha256sum"
        )
    return f"""How to verify this record with nothing but sha256sum and Python

{kind}1. That these files are the ones that were exported:
   sha256sum -c SHA256SUMS

2. That no line of the record was changed, dropped, doubled, moved or put in:
   python3 independent_verifier.py record.jsonl
   It is about 45 lines long and imports nothing but Python's own library. Read it first.

3. That it is the record that was sealed:
{sealed}

4. That it is the record that the site had: compare with the site's witness statement, a page with a Merkle
   root (RFC 9162) that the site printed or sent away. The statement of this export lies beside this archive.

What the files are
   {FILE_NAME:14} one fact a line, canonical JSON (RFC 8785); "prev" is the SHA-256 of the line before
   clips/         what was heard, as far as the site keeps it; each file's name is its SHA-256
   site/          the site's own files as they were: enclosure, agents, procedure
   approvals/     who approved the procedure
   scans/         scans of paper that was entered afterwards; each file's name is its SHA-256
   tails/         torn last writes that recovery set aside
   facts.csv, report-a4.pdf, report-letter.pdf   the same facts for reading

Signatures are Ed25519 (RFC 8032) over the line's bytes with "signature" and "digest" set to zeros.
"""


def _folder(session: Path, name: str) -> dict[str, bytes]:
    folder = session / name
    if folder.is_symlink() or not folder.is_dir():
        return {}
    found = {}
    for path in sorted(folder.rglob("*")):
        inside = path.relative_to(session)
        if (
            any(part.is_symlink() for part in (path, *path.parents) if session in part.parents)
            or not path.is_file()
        ):
            continue
        try:
            found[inside.as_posix()] = path.read_bytes()
        except OSError as error:
            raise StorageError(
                f"A file of the session can't be read: {error.strerror}.", where=str(path)
            ) from error
    return found
