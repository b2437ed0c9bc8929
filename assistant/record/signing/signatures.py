"""Signatures on a sealed record, and their withdrawal: lines after the seal, chained to it.

A signature covers the whole line, `prev` included, so it can't be cut out and put under another record
(21 CFR 11.70); it shows the printed name, the time and what it means (11.50).
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from assistant.errors import RecordError, RefusedError, StorageError, UsageError
from assistant.record.lines.canonical import from_canonical, to_canonical
from assistant.record.lines.chain import SIGNATURE_ZEROS, ZEROS, digest_of
from assistant.record.lines.envelope import Line, encode_line
from assistant.record.reader import Record, read_record, require_whole
from assistant.record.recover import set_tail_aside
from assistant.record.signing.checking import message_of, standing_signatures
from assistant.record.signing.keys import UnlockedKey
from assistant.record.site_log import SiteLog
from assistant.record.storage.file_store import FileLineStore, record_file
from assistant.record.storage.files import Files, OsFiles
from assistant.record.storage.locks import WriterLock
from assistant.record.storage.paths import root_of_session
from assistant.record.verify import verify


def sign_record(
    path: Path | str,
    key: UnlockedKey,
    *,
    meaning: str,
    wall: str,
    details: dict[str, Any] | None = None,
    files: Files | None = None,
    witness: bool = True,
    may: Callable[[Record], None] = lambda _: None,
) -> Line:
    """Sign a sealed live record. `meaning`: what the signature says ("reviewed", "released", ...);
    `details`: whatever else the signer states; `may`: asked once more of the record as it stands when nobody else can
    write it any more, and raises where something was signed meanwhile that rules this out. Raises RefusedError for records that aren't live,
    RecordError for open, damaged or busy ones, StorageError.
    """
    if not meaning.strip():
        raise UsageError("A signature needs its meaning.", expected="what the signer states by it")
    data = {"meaning": meaning, "details": details or {}}
    return _add_after_seal(path, "record_signed", data, key, wall, files or OsFiles(), witness, may)


def withdraw_signature(
    path: Path | str,
    key: UnlockedKey,
    *,
    line: int,
    reason: str,
    wall: str,
    files: Files | None = None,
    witness: bool = True,
) -> Line:
    """Withdraw the signature in line `line`, with a reason. It stays readable; its own withdrawal is
    signed."""
    if not reason.strip():
        raise UsageError("A withdrawal needs its reason.", expected="why the signature no longer stands")

    def stands(record: Record) -> None:
        if line not in {signed.seq for signed in standing_signatures(record)}:
            raise RecordError(f"Line {line} holds no signature that stands.", where=str(record.path))

    stands(require_whole(read_record(path)))
    data = {"meaning": "withdrawn", "withdraws": line, "reason": reason}
    return _add_after_seal(path, "record_withdrawn", data, key, wall, files or OsFiles(), witness, stands)


def _add_after_seal(
    path: Path | str,
    kind: str,
    data: dict[str, Any],
    key: UnlockedKey,
    wall: str,
    files: Files,
    witness: bool,
    may: Callable[[Record], None],
) -> Line:
    folder = record_file(path).absolute().parent
    lock = WriterLock(folder, key.name, files=files)
    store: FileLineStore | None = None
    try:
        record = require_whole(read_record(folder))
        if record.kind != "live":
            raise RefusedError(
                f"This is a {record.kind} record. Only live records are signed.", where=str(folder)
            )
        if not record.seal:
            raise RecordError(
                "The record isn't sealed, so it can't be signed.",
                where=str(folder),
                try_next="Finish or recover the session first.",
            )
        may(record)
        store = FileLineStore(folder, new=False, files=files)
        tails = set_tail_aside(store, record)
        report = verify(folder, witness=None if witness else False)
        if not report.complete:
            raise RecordError(
                f"The record doesn't verify: {report.problems[0]}",
                where=str(folder),
                try_next="Run 'assistant verify' on it. Don't sign it.",
            )
        last = record.lines[-1]
        data = {
            **data,
            "name": key.name,
            "key_id": key.key_id,
            "public_key": key.entry.public_key,
            "seal": record.seal.sha256,
            "set_aside": tails,
            "signature": SIGNATURE_ZEROS,
            "digest": ZEROS,
        }
        raw = encode_line(
            seq=last.seq + 1,
            t_ms=last.t_ms,
            wall=wall,
            record=record.kind,
            rules=record.rules,
            fact={"kind": kind, "v": 1, "data": data},
            prev=last.sha256,
        )
        if message_of(raw, SIGNATURE_ZEROS, ZEROS) is None:
            raise UsageError("The details of a signature may not hold fields called signature or digest.")
        body = from_canonical(raw)
        body["data"]["signature"] = key.sign(raw)
        body["data"]["digest"] = digest_of(to_canonical(body), ZEROS)
        raw = to_canonical(body)
        store.append(raw + b"\n")
        signed = read_record(folder).lines[-1]
        if witness:
            SiteLog(root_of_session(folder), files=files).note(
                "signed" if kind == "record_signed" else "withdrawn",
                record.session,
                signed.seq,
                signed.sha256,
                wall,
            )
        return signed
    except OSError as error:
        raise StorageError("The signature can't be written.", where=str(folder)) from error
    finally:
        if store:
            store.close()
        lock.release()
