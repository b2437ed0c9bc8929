"""A trainee signed off by a supervisor: a signed statement over the evidence it rests on.

No practice record is ever signed. The statement is a line of its own in the trainee's folder, naming the rule and the
SHA-256 of every record it rests on, chained to the line before it, signed with the supervisor's key (Ed25519).
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
from assistant.record.canonical import NotCanonical, from_canonical, to_canonical
from assistant.record.files import OsFiles, make_folders, write_all
from assistant.record.keys import UnlockedKey, signature_holds
from assistant.review.accounts import Account, folded

FILE = "signoffs.jsonl"
MEANING = "practised as the site asks, signed off"
MAX_REASON = 1000
_FIRST = "0" * 64


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
    """What the site's rule asks of a trainee, and what there is. `demands`: what, whether met, what shows it."""

    trainee: str
    names: tuple[str, ...]
    rule: str
    rule_title: str
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


@dataclass(frozen=True)
class SignOff:
    """One signed statement as read back. `problem`: why it doesn't hold, or ""."""

    number: int
    name: str
    role: str
    wall: str
    reason: str
    rule: str
    evidence: tuple[str, ...]
    problem: str


def why_not(found: Evidence, account: Account) -> str:
    """Why this person may not sign this trainee off, or ""."""
    if account.role != "supervisor":
        return "A supervisor signs a trainee off."
    if any(account.goes_by(name) for name in (found.trainee, *found.names)):
        return "This is your own practice. Somebody else signs it off."
    if any(folded(observer) == folded(name) for observer, *_ in found.tracers for name in found.names):
        return "A trainee can't be the observer of their own wipe."
    if not found.ready:
        return "Not everything the rule asks for is met yet."
    return ""


def sign_off(
    folder: Path, found: Evidence, account: Account, key: UnlockedKey, *, reason: str, wall: str
) -> None:
    """Append the statement. Raises RefusedError, UsageError, StorageError."""
    problem = why_not(found, account)
    if problem:
        raise RefusedError(problem)
    reason = reason.strip()
    if not reason or len(reason) > MAX_REASON:
        raise UsageError(f"Say what you looked at, in 1 to {MAX_REASON} characters.")
    file = folder / FILE
    try:
        make_folders(OsFiles(), folder)
        with filelock.FileLock(folder / ".signoffs.lock", timeout=10, mode=0o600):
            held = file.read_bytes() if file.exists() else b""
            if held and not held.endswith(b"\n"):
                raise RefusedError("The last sign-off was torn.", try_next="Ask whoever keeps this machine.")
            lines = held.splitlines()
            body = {
                "format": 1,
                "kind": "practice_signed_off",
                "number": len(lines) + 1,
                "trainee": found.trainee,
                "rule": found.rule,
                "evidence": sorted({s.sha256 for s in found.sessions}),
                "tracers": [f"{observer}, {day}" for observer, day, passed, _ in found.tracers if passed],
                "meaning": MEANING,
                "reason": reason,
                "name": key.name,
                "role": account.role,
                "wall": wall,
                "key_id": key.key_id,
                "public_key": key.entry.public_key,
                "prev": hashlib.sha256(lines[-1]).hexdigest() if lines else _FIRST,
            }
            line = to_canonical({**body, "signature": key.sign(to_canonical(body))})
            files = OsFiles()
            fd = files.open(file, os.O_WRONLY | os.O_APPEND | os.O_CREAT)
            try:
                write_all(files, fd, line + b"\n")
                files.sync(fd)
            finally:
                files.close(fd)
    except OSError as error:
        raise StorageError("The sign-off can't be written.", where=str(file)) from error


def sign_offs(folder: Path, trainee: str, public_keys: dict[str, str]) -> list[SignOff]:
    """Every statement, oldest first, each checked: chain, key known to the site, signature, trainee."""
    try:
        raw_lines = (folder / FILE).read_bytes().splitlines()
    except OSError:
        return []
    found, before = [], _FIRST
    for number, raw in enumerate(raw_lines, 1):
        found.append(_checked(raw, number, before, trainee, public_keys))
        before = hashlib.sha256(raw).hexdigest()
    return found


def _checked(raw: bytes, number: int, before: str, trainee: str, keys: dict[str, str]) -> SignOff:
    try:
        held = from_canonical(raw)
        body = {name: value for name, value in held.items() if name != "signature"}
        problem = ""
        if body["prev"] != before or body["number"] != number:
            problem = "a line before it was changed or taken away"
        elif body["trainee"] != trainee or body["kind"] != "practice_signed_off" or body["format"] != 1:
            problem = "it belongs to somebody else"
        elif keys.get(body["key_id"]) != body["public_key"]:
            problem = "its key isn't one of the site's"
        elif not signature_holds(body["public_key"], to_canonical(body), held["signature"]):
            problem = "the signature doesn't fit"
        evidence = body["evidence"]
        return SignOff(
            number,
            *(_text(body, name) for name in ("name", "role", "wall", "reason", "rule")),
            tuple(e for e in evidence if isinstance(e, str)) if isinstance(evidence, list) else (),
            problem,
        )
    except (NotCanonical, KeyError, TypeError, ValueError, AttributeError):
        return SignOff(number, "", "", "", "", "", (), "the line can't be read")


def _text(body: dict[str, Any], name: str) -> str:
    value = body.get(name)
    return value if isinstance(value, str) else ""
