"""What was decided on a record: its signatures read as decisions. The record is the only source."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from assistant.record.lines.envelope import Line
from assistant.record.reader import Record
from assistant.record.signing.checking import SignatureCheck, check_signature
from assistant.record.signing.keys import PublicKey, not_in_force

ACCEPTED, REMARK, REJECTED, PROVISIONAL = (
    "accepted",
    "accepted_with_remark",
    "not_accepted",
    "released_provisionally",
)
FINAL = (ACCEPTED, REMARK, REJECTED)
# What each signature means, in the words that stand in the record and are shown with it.
MEANINGS = {
    ACCEPTED: "reviewed and accepted",
    REMARK: "reviewed and accepted with remark",
    REJECTED: "reviewed and not accepted",
    PROVISIONAL: "released provisionally, to be reviewed",
}
SHORT = {
    ACCEPTED: "Accepted",
    REMARK: "Accepted with remark",
    REJECTED: "Not accepted",
    PROVISIONAL: "Provisional",
}
_BY_MEANING = {meaning: decision for decision, meaning in MEANINGS.items()}


@dataclass(frozen=True)
class Signed:
    """One signature or withdrawal after the seal. `decision`: one of the above, or "" for another meaning.
    `withdrawn_by`: line of its withdrawal, or 0. `problem`: why the signature doesn't hold, or ""."""

    line: int
    kind: str
    name: str
    key_id: str
    meaning: str
    wall: str
    decision: str
    reason: str
    must_happen: str
    role: str
    withdraws: int
    withdrawn_by: int
    problem: str
    signature: str
    seal: str


def signed_lines(record: Record, registry: Sequence[PublicKey] | None = None) -> list[Signed]:
    """All lines after the seal, each checked, oldest first. `registry`: the site's keys; a line by another key, or by
    one that wasn't in force, then has a problem. A withdrawal with a problem withdraws nothing."""
    checked = [(line, _checked(line, registry)) for line in record.after_seal]
    gone = {
        line.data.get("withdraws"): line.seq
        for line, check in checked
        if line.kind == "record_withdrawn" and not check.problem
    }
    return [_signed(line, check, gone) for line, check in checked]


def _checked(line: Line, registry: Sequence[PublicKey] | None) -> SignatureCheck:
    if registry is None:
        return check_signature(line)
    entries = {entry.key_id: entry for entry in registry}
    check = check_signature(line, {key: entry.public_key for key, entry in entries.items()})
    if check.problem or check.key_id not in entries:
        return check
    return replace(check, problem=not_in_force(entries[check.key_id], line.wall))


def _text(data: dict[str, Any], name: str) -> str:
    value = data.get(name, "")
    return value if isinstance(value, str) else ""


def _signed(line: Line, check: SignatureCheck, gone: dict[Any, int]) -> Signed:
    details = line.data.get("details")
    details = details if isinstance(details, dict) else {}
    withdraws = line.data.get("withdraws")
    return Signed(
        line.seq,
        line.kind,
        check.name,
        check.key_id,
        check.meaning,
        line.wall,
        _BY_MEANING.get(check.meaning, "") if line.kind == "record_signed" else "",
        _text(details, "reason") or _text(line.data, "reason"),
        _text(details, "must_happen"),
        _text(details, "role"),
        withdraws if isinstance(withdraws, int) else 0,
        gone.get(line.seq, 0),
        check.problem,
        _text(line.data, "signature"),
        _text(line.data, "seal"),
    )


def standing(signed: list[Signed]) -> Signed | None:
    """The decision that stands now: the newest final one that holds, else the newest provisional one."""
    good = [s for s in signed if s.decision and not s.withdrawn_by and not s.problem]
    final = [s for s in good if s.decision in FINAL]
    return (final or good)[-1] if good else None
