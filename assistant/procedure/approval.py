"""Approvals of procedures: what was approved, by whom, signed; and whether what is on disk now is that.

Kept as `<procedure>.approvals.json` in one folder, newest last. The signature covers the canonical statement
(RFC 8785), which names the SHA-256 of the procedure's canonical content, so a changed file isn't approved.
Signing and checking keys is handed in by the caller: this room knows no keys.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import rfc8785

from assistant.errors import RefusedError, StorageError
from assistant.procedure.model.plan import Plan
from assistant.procedure.paper.changes import changes, plan_values

MEANING = "I approve this procedure for live use."
MAX_BYTES = 20_000_000


@dataclass(frozen=True, slots=True)
class Statement:
    """What an approver signs. `at`: RFC 3339. `check`, `proof`: one line each on what was run before."""

    procedure: str
    title: str
    revision: str
    sha256: str
    plan_sha256: str
    name: str
    key_id: str
    at: str
    check: str
    proof: str
    meaning: str = MEANING

    def message(self) -> bytes:
        """The canonical bytes that are signed."""
        return rfc8785.dumps({"gauntlet": "approval", **asdict(self)})


@dataclass(frozen=True, slots=True)
class Approval:
    """A statement with its signature (hex) and the public key it was made with; `plan`: values to compare with."""

    statement: Statement
    public_key: str
    signature: str
    plan: dict[str, Any]


def state(plan: Plan, *, name: str, key_id: str, at: str, check: str, proof: str) -> Statement:
    """The statement for a plan compiled in English from the files to be approved."""
    return Statement(
        plan.procedure,
        plan.title,
        plan.revision,
        plan.sha256,
        plan_digest(plan),
        name,
        key_id,
        at,
        check,
        proof,
    )


def plan_digest(plan: Plan) -> str:
    """SHA-256 of the plan's values, hexadecimal."""
    return hashlib.sha256(rfc8785.dumps(plan_values(plan))).hexdigest()


def approvals(procedure: str, folder: Path) -> list[Approval]:
    """Every approval on file, oldest first; none where there is no file. Raises RefusedError for a damaged one."""
    path = folder / f"{procedure}.approvals.json"
    damaged = RefusedError(
        "The file of approvals can't be read.",
        where=str(path),
        try_next="Bring it back from your copy, or approve again in another folder.",
    )
    try:
        if path.stat().st_size > MAX_BYTES:
            raise damaged
        held = json.loads(path.read_text(encoding="utf-8"))
        return [
            Approval(
                Statement(**item["statement"]), str(item["public_key"]), str(item["signature"]), item["plan"]
            )
            for item in held["approvals"]
        ]
    except FileNotFoundError:
        return []
    except (OSError, ValueError, KeyError, TypeError, RecursionError) as error:
        raise damaged from error


def add_approval(approval: Approval, folder: Path) -> Path:
    """Adds an approval to the file, whole or not at all. Raises StorageError."""
    path = folder / f"{approval.statement.procedure}.approvals.json"
    held = [*approvals(approval.statement.procedure, folder), approval]
    text = json.dumps({"format": 1, "approvals": [asdict(a) for a in held]}, ensure_ascii=False, indent=1)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        fresh = path.with_suffix(".new")
        with fresh.open("w", encoding="utf-8") as out:
            out.write(text)
            out.flush()
            os.fsync(out.fileno())
        fresh.replace(path)
    except OSError as error:
        raise StorageError(
            f"The approval can't be written: {error.strerror}.",
            where=str(path),
            try_next="Check the folder and its space.",
        ) from error
    return path


def approval_of(
    plan: Plan,
    folder: Path,
    *,
    holds: Callable[[str, bytes, str], bool],
    key_problem: Callable[[str, str], str],
    public_keys: dict[str, str],
) -> Approval | None:
    """The newest approval that stands for exactly this content, or None.

    `holds(public_key, message, signature)`, `key_problem(key_id, at)` ("" when the key may have signed then) and
    `public_keys` (key id -> hex) come from the key store. The plan must be compiled from the files on disk.
    """
    for approval in reversed(approvals(plan.procedure, folder)):
        s = approval.statement
        if (
            s.sha256 == plan.sha256
            and s.procedure == plan.procedure
            and s.meaning == MEANING
            and public_keys.get(s.key_id) == approval.public_key
            and not key_problem(s.key_id, s.at)
            and holds(approval.public_key, s.message(), approval.signature)
        ):
            return approval
    return None


def changes_since_last(plan: Plan, folder: Path) -> list[str] | None:
    """What changed since the last approved revision; None when there is none."""
    held = approvals(plan.procedure, folder)
    return changes(held[-1].plan, plan_values(plan)) if held else None
