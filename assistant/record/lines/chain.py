"""The hash chain: seeds, the digest that closes a line without a successor, and the step-by-step check.

The first line names the seed of its record's kind, so a practice line can't be spliced into a live record.
Seal, signature and withdrawal lines may be the last of a file, so they carry the SHA-256 of their own bytes
with the digest's 64 digits set to zeros: checkable with sed and sha256sum, no JSON library needed.
"""

from __future__ import annotations

import hashlib

from assistant.record.lines.envelope import RECORD_KINDS, Line

ZEROS = "0" * 64
SIGNATURE_ZEROS = "0" * 128


def seed(record_kind: str) -> str:
    """The `prev` of the first line: SHA-256 of a fixed text that names the kind."""
    if record_kind not in RECORD_KINDS:
        raise ValueError("record kind isn't live, practice, demo or script")
    return hashlib.sha256(f"gauntlet record, chain 1, {record_kind}".encode()).hexdigest()


def blank(raw: bytes, field: str, value: str) -> bytes | None:
    """`raw` with the one `"field":"value"` set to zeros; None unless it occurs exactly once."""
    found = f'"{field}":"{value}"'.encode()
    if not value or raw.count(found) != 1:
        return None
    return raw.replace(found, f'"{field}":"{"0" * len(value)}"'.encode())


def digest_of(raw: bytes, digest: str) -> str | None:
    """The digest that a line should carry, from its bytes and the digest it does carry."""
    blanked = blank(raw, "digest", digest)
    return None if blanked is None else hashlib.sha256(blanked).hexdigest()


def digest_holds(line: Line) -> bool | None:
    """Whether a line's own digest is right; None for lines that carry none."""
    if line.kind not in ("record_sealed", "record_signed", "record_withdrawn"):
        return None
    digest = line.data.get("digest")
    return isinstance(digest, str) and len(digest) == 64 and digest_of(line.raw, digest) == digest


def link_problem(before: Line | None, line: Line, record_kind: str) -> str:
    """Why `line` can't follow `before` (None: the start of the file), or ""."""
    if line.seq != (before.seq + 1 if before else 1):
        return f"sequence number {line.seq} where {before.seq + 1 if before else 1} belongs"
    if line.record != record_kind:
        return f"a {line.record} line in a {record_kind} record"
    if line.prev != (before.sha256 if before else seed(record_kind)):
        return "doesn't follow from the line before"
    if before and line.t_ms < before.t_ms:
        return "its time lies before the line before"
    return ""
