"""Whether what is on disk is what was approved for live use, and the approval as it goes beside the record."""

from __future__ import annotations

import hashlib
from dataclasses import asdict
from pathlib import Path
from typing import Any

from assistant.errors import StorageError
from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import Loaded
from assistant.record.beside.named import APPROVALS
from assistant.record.lines.canonical import to_canonical
from assistant.record.storage.files import Files, OsFiles, make_folders, write_whole
from assistant.record.storage.paths import safe_name
from assistant.station.approving.approvals import is_approved


def approval_of(loaded: Loaded, records: Path | None = None) -> str:
    """Who approved exactly this content, when and with which key; "" where nobody did.

    `records` is where sessions are kept; approvals and keys have folders of their own (see `approving`).
    Raises RefusedError for a damaged file of approvals, RecordError for a damaged key registry.
    """
    approval = is_approved(compile_plan(loaded))
    if approval is None:
        return ""
    s = approval.statement
    return f"{s.name} at {s.at}, key {s.key_id}"


def approval_file(loaded: Loaded) -> tuple[str, bytes] | None:
    """Name below the session's folder and bytes of the approval that stands, for whoever reads the record years
    later: statement, public key, signature (Ed25519 over the statement with "gauntlet": "approval", RFC 8785)."""
    approval = is_approved(compile_plan(loaded))
    if approval is None:
        return None
    held = {
        "statement": asdict(approval.statement), "public_key": approval.public_key, "signature": approval.signature,
    }
    return f"{APPROVALS}/{safe_name(approval.statement.procedure)}.json", to_canonical(held)


def named(held: tuple[str, bytes] | None) -> dict[str, Any]:
    """What the record's first line says of it."""
    if held is None:
        return {}
    return {"approval_file": {"file": held[0], "sha256": hashlib.sha256(held[1]).hexdigest()}}


def keep_approval(
    held: tuple[str, bytes] | None, session_folder: Path, header: dict[str, Any], files: Files | None = None,
) -> None:
    """Put the approval that `header` names beside the record; another one, or none, is left out. Doing it again does
    no harm. Raises StorageError."""
    if held is None or header.get("approval_file") != named(held)["approval_file"]:
        return
    files, path = files or OsFiles(), session_folder / held[0]
    try:
        make_folders(files, path.parent)
        write_whole(files, path, held[1])
    except OSError as error:
        raise StorageError(
            f"The approval can't be copied beside the record: {error.strerror}.", where=str(path),
            try_next="free some space, or choose another folder with --records",
        ) from error
