"""One line of a record: its fields, their types, and the way from bytes to a checked `Line`."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from assistant.errors import RecordError
from assistant.record.lines.canonical import NotCanonical, from_canonical, to_canonical_read_back

RECORD_KINDS: tuple[str, ...] = ("live", "practice", "demo", "script")

# Lines that the record room itself writes; every other kind belongs to the core. Kind -> newest version read.
OWN_KINDS = {
    "record_opened": 1,
    "record_recovered": 1,
    "record_sealed": 1,
    "record_signed": 1,
    "record_withdrawn": 1,
    "record_late_entry": 1,
    "record_scan_attached": 1,
    "record_file_attached": 1,
}
AFTER_SEAL = ("record_signed", "record_withdrawn")

_FIELDS = frozenset(("seq", "t_ms", "wall", "record", "rules", "kind", "v", "data", "prev"))
_WORD = re.compile(r"[a-z][a-z0-9_]{0,63}")
_HEX = re.compile(r"[0-9a-f]{64}")
# RFC 3339 section 5.6 date-time; upper-case T and Z only, since one moment has one spelling here.
_WALL = re.compile(
    r"\d{4}-\d\d-\d\dT([01]\d|2[0-3]):[0-5]\d:([0-5]\d|60)(\.\d{1,9})?(Z|[+-]([01]\d|2[0-3]):[0-5]\d)"
)


class MalformedLine(ValueError):
    """A line that isn't one of ours; the message is safe to show."""


@dataclass(frozen=True, slots=True)
class Line:
    """One checked line. `t_ms`: monotonic milliseconds since the session's start. `sha256`: of its bytes."""

    seq: int
    t_ms: int
    wall: str
    record: str
    rules: int
    kind: str
    v: int
    data: dict[str, Any]
    prev: str
    sha256: str
    raw: bytes

    @property
    def fact(self) -> dict[str, Any]:
        """The fact as the core's wire form."""
        return {"kind": self.kind, "v": self.v, "data": self.data}

    @property
    def own(self) -> bool:
        """True for a line of the record room itself, which the core's fold skips."""
        return self.kind in OWN_KINDS


def encode_line(
    *, seq: int, t_ms: int, wall: str, record: str, rules: int, fact: dict[str, Any], prev: str
) -> bytes:
    """The canonical bytes of a line, without the newline. Raises RecordError when a field is wrong."""
    try:
        body = {
            "seq": seq,
            "t_ms": t_ms,
            "wall": wall,
            "record": record,
            "rules": rules,
            "kind": fact["kind"],
            "v": fact["v"],
            "data": fact["data"],
            "prev": prev,
        }
    except (KeyError, TypeError) as error:
        raise RecordError(
            "A fact to be written lacks kind, v or data.",
            expected='{"kind": word, "v": number, "data": object}',
        ) from error
    problem = _field_problem(body)
    if problem:
        raise RecordError(f"A fact can't be written down: {problem}.")
    return to_canonical_read_back(body)


def parse_line(raw: bytes) -> Line:
    """Check and parse the bytes of one line (no newline). Raises MalformedLine."""
    try:
        body = from_canonical(raw)
    except NotCanonical as error:
        raise MalformedLine(str(error)) from None
    if not isinstance(body, dict) or body.keys() != _FIELDS:
        raise MalformedLine("not an object with exactly the fields of a record line")
    problem = _field_problem(body)
    if problem:
        raise MalformedLine(problem)
    return Line(**body, sha256=hashlib.sha256(raw).hexdigest(), raw=raw)


def _field_problem(body: dict[str, Any]) -> str:
    for name, least in (("seq", 1), ("t_ms", 0), ("rules", 0), ("v", 1)):
        if type(body[name]) is not int or body[name] < least:
            return f"{name} isn't a whole number from {least}"
    if not is_wall_time(body["wall"]):
        return "wall isn't an RFC 3339 time with an offset"
    if body["record"] not in RECORD_KINDS:
        return "record isn't live, practice, demo or script"
    if not isinstance(body["kind"], str) or not _WORD.fullmatch(body["kind"]):
        return "kind isn't a plain word"
    if not isinstance(body["data"], dict):
        return "data isn't an object"
    if not isinstance(body["prev"], str) or not _HEX.fullmatch(body["prev"]):
        return "prev isn't a SHA-256 in lower-case hexadecimal"
    return ""


def is_wall_time(text: object) -> bool:
    """True for an RFC 3339 date-time with an offset that names a real day (a leap second is allowed)."""
    if not isinstance(text, str) or not _WALL.fullmatch(text):
        return False
    try:
        datetime(int(text[:4]), int(text[5:7]), int(text[8:10]))
    except ValueError:
        return False
    return True
