"""Signed statements about a trainee as read back: each line checked, and whether a sign-off stands today.

The chain finds a line changed or taken out. A line cut off the end, a withdrawal say, is found by a head kept beside the
keys: the number and SHA-256 of the last line written.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import filelock

from assistant.errors import RecordError
from assistant.record.lines.canonical import NotCanonical, from_canonical, to_canonical
from assistant.record.signing.keys import signature_holds
from assistant.record.storage.files import OsFiles, make_folders, write_whole
from assistant.review.people.accounts import Accounts, folded

FILE = "signoffs.jsonl"
HEADS = "practice_heads.json"
FIRST = "0" * 64
SIGNED, WITHDRAWN = "practice_signed_off", "practice_sign_off_withdrawn"


@dataclass(frozen=True)
class SignOff:
    """One signed statement. `problem`: why it doesn't hold, or "". `rule_sha256`, `procedures`: none in lines from
    before they were kept. `evidence`: SHA-256 of each record. `withdraws`, `withdrawn_by`: a line's number, or 0."""

    number: int
    kind: str = ""
    name: str = ""
    role: str = ""
    wall: str = ""
    reason: str = ""
    rule: str = ""
    rule_sha256: str = ""
    procedures: tuple[str, ...] = ()
    evidence: tuple[str, ...] = ()
    withdraws: int = 0
    sha256: str = ""
    problem: str = ""
    withdrawn_by: int = 0


def sign_offs(folder: Path, trainee: str, accounts: Accounts) -> list[SignOff]:
    """Every statement, oldest first, each checked: chain, head, key in force when it signed, supervisor's account,
    signature, trainee. A line that doesn't hold takes those before it along: it may have been a withdrawal."""
    try:
        raw_lines = (folder / FILE).read_bytes().splitlines()
    except OSError:
        raw_lines = []
    found, before = [], FIRST
    for number, raw in enumerate(raw_lines, 1):
        found.append(_checked(raw, number, before, trainee, accounts))
        before = hashlib.sha256(raw).hexdigest()
    gone = {s.withdraws: s for s in found if s.kind == WITHDRAWN and not s.problem}
    broken = _cut_off(found, trainee, accounts)
    for at in range(len(found) - 1, -1, -1):
        one = found[at]
        if broken and not one.problem:
            one = replace(one, problem=broken)
        if one.problem and not broken:
            broken = "a line after it was changed or taken away"
        taken = gone.get(one.number)
        found[at] = replace(one, withdrawn_by=taken.number) if taken else one
    return found


def why_not_standing(one: SignOff, rule_sha256: str, here_now: Sequence[str], procedure: str | None = None) -> str:
    """Why a sign-off doesn't count today, or "". `here_now`: SHA-256 of the practice records that are still there;
    `procedure`: what is to be run, or None for any."""
    if one.problem:
        return f"the signature doesn't hold: {one.problem}"
    if one.withdrawn_by:
        return "the sign-off was withdrawn"
    if not one.rule_sha256:
        return "it was signed before the rule's content was kept with it"
    if one.rule_sha256 != rule_sha256:
        return "the rule has changed since it was signed, or the supervisor's pages were given another one"
    if gone := len(set(one.evidence) - set(here_now)):
        return f"{gone} of the practice records it rests on are gone or were changed"
    if procedure is not None and procedure not in one.procedures:
        return f"it covers {', '.join(one.procedures) or 'no procedure'}, not {procedure}"
    return ""


def names_of(trainee: str) -> tuple[str, ...]:
    """Names that lead to this trainee's folder: the one it was escaped from; of an older folder, as far as its name can
    tell, with its dashes as spaces too."""
    return trainee, unquote(trainee.replace("=", "%")), trainee.replace("-", " ")


def keep_head(accounts: Accounts, trainee: str, number: int, sha256: str) -> None:
    """Note the last line written. Raises OSError, filelock.Timeout, RecordError for a damaged file of heads."""
    folder, files = accounts.keys.folder, OsFiles()
    make_folders(files, folder)
    with filelock.FileLock(folder / ".practice_heads.lock", timeout=10, mode=0o600):
        held = {**_heads(accounts), trainee: {"number": number, "sha256": sha256}}
        write_whole(files, folder / HEADS, to_canonical({"format": 1, "heads": held}))


def _heads(accounts: Accounts) -> dict[str, Any]:
    path = accounts.keys.folder / HEADS
    try:
        held = json.loads(path.read_bytes())["heads"]
        if not isinstance(held, dict):
            raise ValueError("not an object")
        return held
    except FileNotFoundError:
        return {}
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise RecordError(
            "The list of the last sign-offs can't be read.", where=str(path), try_next="Bring it back from your copy.",
        ) from error  # fmt: skip


def _cut_off(found: list[SignOff], trainee: str, accounts: Accounts) -> str:
    """Whether lines are missing at the end. Statements of the first format were written without a head."""
    head = _heads(accounts).get(trainee)
    if head is None:
        return "nothing vouches that no line after it was taken away" if any(s.rule_sha256 or s.withdraws for s in found) else ""
    at = head.get("number") if isinstance(head, dict) else None
    whole = isinstance(at, int) and 0 < at <= len(found) and found[at - 1].sha256 == head.get("sha256")
    return "" if whole else "a line after it was changed or taken away"


def _checked(raw: bytes, number: int, before: str, trainee: str, accounts: Accounts) -> SignOff:
    digest = hashlib.sha256(raw).hexdigest()
    try:
        held = from_canonical(raw)
        body = {name: value for name, value in held.items() if name != "signature"}
        problem = ""
        if body["prev"] != before or body["number"] != number:
            problem = "a line before it was changed or taken away"
        elif body["trainee"] != trainee or body["kind"] not in (SIGNED, WITHDRAWN) or body["format"] not in (1, 2):
            problem = "it belongs to somebody else"
        elif accounts.keys.public_keys().get(body["key_id"]) != body["public_key"]:
            problem = "its key isn't one of the site's"
        elif not signature_holds(body["public_key"], to_canonical(body), held["signature"]):
            problem = "the signature doesn't fit"
        else:
            problem = _by_nobody(body, trainee, accounts)
        datetime.fromisoformat(body["wall"])
        return SignOff(
            number, _text(body, "kind"), _text(body, "name"), _text(body, "role"), _text(body, "wall"), _text(body, "reason"),
            _text(body, "rule"), _text(body, "rule_sha256"),
            _texts(body, "procedures"), _texts(body, "evidence"),
            body["withdraws"] if isinstance(body.get("withdraws"), int) else 0, digest, problem,
        )  # fmt: skip
    except (NotCanonical, KeyError, TypeError, ValueError, AttributeError):
        return SignOff(number, sha256=digest, problem="the line can't be read")


def _by_nobody(body: dict[str, Any], trainee: str, accounts: Accounts) -> str:
    """Why whoever holds the key may not have signed this, or ""."""
    key = accounts.keys.find(body["key_id"])
    if key is None or folded(key.name) != folded(body["name"]):
        return "its key isn't that person's"
    if why := accounts.keys.problem_with(body["key_id"], body["wall"]):
        return why
    signers = [a for a in accounts.all() if a.role == "supervisor" and a.goes_by(key.name)]
    if not signers:
        return "who signed has no supervisor's account here"
    if any(a.goes_by(name) for a in signers for name in names_of(trainee)):
        return "it is the trainee's own signature"
    return ""


def _text(body: dict[str, Any], name: str) -> str:
    value = body.get(name)
    return value if isinstance(value, str) else ""


def _texts(body: dict[str, Any], name: str) -> tuple[str, ...]:
    value = body.get(name)
    return tuple(v for v in value if isinstance(v, str)) if isinstance(value, list) else ()
