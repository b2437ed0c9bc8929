"""A trainee signed off by a supervisor: a signed statement over the evidence it rests on, and its withdrawal.

No practice record is ever signed. The statement is a line of its own in the trainee's folder, naming the rule and the
SHA-256 of the rule and of every record it rests on, chained to the line before it, signed with the supervisor's key
(Ed25519). Nothing is rewritten: a withdrawal is a further line.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import filelock

from assistant.errors import RefusedError, StorageError, UsageError
from assistant.record.lines.canonical import to_canonical
from assistant.record.signing.keys import UnlockedKey
from assistant.record.storage.files import OsFiles, make_folders, write_all
from assistant.review.people.accounts import Account, Accounts, folded
from assistant.review.people.practice_signoff_lines import (
    FILE,
    FIRST,
    SIGNED,
    WITHDRAWN,
    keep_head,
    names_of,
    sign_offs,
)

MEANING = "practised as the site asks, signed off"
WITHDRAWAL = "sign-off withdrawn"
MAX_REASON = 1000


@dataclass(frozen=True)
class PractisedSession:
    """One practice session as evidence. `sha256`: of its record's bytes."""

    record: str
    sha256: str
    day: str
    procedure: str
    level: str
    verdict: str
    score: float
    critical: int
    mishaps: tuple[str, ...]
    true_waits: bool


@dataclass(frozen=True)
class Evidence:
    """What the site's rule asks of a trainee, and what there is. `demands`: what, whether met, what shows it.
    `rule_sha256`: of what the rule's file says, without comments and layout. `covers`: procedures a sign-off is for."""

    trainee: str
    names: tuple[str, ...]
    rule: str
    rule_title: str
    rule_sha256: str
    covers: tuple[str, ...]
    demands: tuple[tuple[str, bool, tuple[str, ...]], ...]
    sessions: tuple[PractisedSession, ...]
    tracers: tuple[tuple[str, str, bool, str], ...]

    @property
    def ready(self) -> bool:
        """Every demand is met."""
        return bool(self.demands) and all(met for _, met, _ in self.demands)


@dataclass(frozen=True)
class EvidencePort:
    """Handed in by `wiring`: the trainees there are, the evidence of one (None: no such trainee), its folder."""

    trainees: Callable[[], list[str]]
    of: Callable[[str], Evidence | None]
    folder: Path


def why_not(found: Evidence, account: Account) -> str:
    """Why this person may not sign this trainee off, or ""."""
    if account.role != "supervisor":
        return "A supervisor signs a trainee off."
    if any(account.goes_by(name) for name in (*names_of(found.trainee), *found.names)):
        return "This is your own practice. Somebody else signs it off."
    if any(folded(observer) == folded(name) for observer, *_ in found.tracers for name in found.names):
        return "A trainee can't be the observer of their own wipe."
    if not found.ready:
        return "Not everything the rule asks for is met yet."
    return ""


def sign_off(
    folder: Path, found: Evidence, accounts: Accounts, account: Account, key: UnlockedKey, *, reason: str, wall: str
) -> None:
    """Append the statement. Raises RefusedError, UsageError, StorageError."""
    problem = why_not(found, account)
    if problem:
        raise RefusedError(problem)
    _append(folder, found.trainee, accounts, account, key, wall, {
        "kind": SIGNED,
        "rule": found.rule,
        "rule_sha256": found.rule_sha256,
        "procedures": list(found.covers),
        "evidence": sorted({s.sha256 for s in found.sessions}),
        "demands": [{"what": what, "shown_by": list(shown)} for what, _, shown in found.demands],
        "tracers": [f"{observer}, {day}" for observer, day, passed, _ in found.tracers if passed],
        "meaning": MEANING,
        "reason": _reason(reason, "Say what you looked at"),
    })  # fmt: skip


def withdraw_sign_off(
    folder: Path, trainee: str, accounts: Accounts, account: Account, key: UnlockedKey, *, number: int, reason: str,
    wall: str,
) -> None:  # fmt: skip
    """Append that sign-off `number` (from 1) stands no more; the line itself stays. Any supervisor but the trainee may:
    who signed may have left. Raises RefusedError, UsageError, StorageError."""
    if account.role != "supervisor":
        raise RefusedError("A supervisor withdraws a sign-off.")
    if any(account.goes_by(name) for name in names_of(trainee)):
        raise RefusedError("This is your own sign-off. Somebody else withdraws it.")
    there = {s.number: s for s in sign_offs(folder, trainee, accounts)}
    wanted = there.get(number)
    if wanted is None or wanted.kind != SIGNED:
        raise RefusedError(
            f"Line {number} is no sign-off of {trainee}.", where=str(folder / FILE),
            try_next=f"assistant signoff show {trainee}",
        )  # fmt: skip
    if wanted.withdrawn_by:
        raise RefusedError(f"Sign-off {number} was withdrawn already, by line {wanted.withdrawn_by}.")
    _append(folder, trainee, accounts, account, key, wall, {
        "kind": WITHDRAWN,
        "withdraws": number,
        "withdraws_sha256": wanted.sha256,
        "meaning": WITHDRAWAL,
        "reason": _reason(reason, "Say why it stands no more"),
    })  # fmt: skip


def _reason(text: str, ask: str) -> str:
    text = text.strip()
    if not text or len(text) > MAX_REASON:
        raise UsageError(f"{ask}, in 1 to {MAX_REASON} characters.")
    return text


def _append(
    folder: Path, trainee: str, accounts: Accounts, account: Account, key: UnlockedKey, wall: str, said: dict[str, Any]
) -> None:
    """One signed line, chained to the one before, on disk before this returns; then the head that vouches for it."""
    file, files = folder / FILE, OsFiles()
    try:
        make_folders(files, folder)
        with filelock.FileLock(folder / ".signoffs.lock", timeout=10, mode=0o600):
            held = file.read_bytes() if file.exists() else b""
            if held and not held.endswith(b"\n"):
                raise RefusedError("The last sign-off was torn.", try_next="Ask whoever keeps this machine.")
            lines = held.splitlines()
            body = {
                "format": 2,
                "number": len(lines) + 1,
                "trainee": trainee,
                **said,
                "name": key.name,
                "role": account.role,
                "wall": wall,
                "key_id": key.key_id,
                "public_key": key.entry.public_key,
                "prev": hashlib.sha256(lines[-1]).hexdigest() if lines else FIRST,
            }
            line = to_canonical({**body, "signature": key.sign(to_canonical(body))})
            fd = files.open(file, os.O_WRONLY | os.O_APPEND | os.O_CREAT)
            try:
                write_all(files, fd, line + b"\n")
                files.sync(fd)
            finally:
                files.close(fd)
            keep_head(accounts, trainee, len(lines) + 1, hashlib.sha256(line).hexdigest())
    except filelock.Timeout as error:
        raise StorageError("Somebody else is signing just now.", where=str(file), try_next="Try again.") from error
    except OSError as error:
        raise StorageError("The sign-off can't be written.", where=str(file)) from error
