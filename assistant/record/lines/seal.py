"""The seal, and what may stand after it: signatures and withdrawals, chained to it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from assistant.record.lines.canonical import from_canonical, to_canonical
from assistant.record.lines.chain import ZEROS, digest_of
from assistant.record.lines.envelope import Line
from assistant.record.lines.merkle import RunningRoot


def seal_fact(
    *, count: int, root: str, duration_ms: int, verdict: str, left_open: Sequence[str], state_sha256: str
) -> dict[str, Any]:
    """The seal as a fact. `root`: RFC 9162 tree hash, as hex, whose leaves are the bytes of all lines
    before."""
    return {
        "kind": "record_sealed",
        "v": 1,
        "data": {
            "count": count,
            "root": root,
            "duration_ms": duration_ms,
            "verdict": verdict,
            "left_open": [str(item) for item in left_open],
            "state_sha256": state_sha256,
            "digest": ZEROS,
        },
    }


def with_digest(raw: bytes) -> bytes:
    """A line whose data carries a digest of zeros, with the digest filled in."""
    body = from_canonical(raw)
    body["data"]["digest"] = digest_of(to_canonical(body), body["data"]["digest"])
    return to_canonical(body)


def seal_problem(seal: Line, count: int, tree: RunningRoot) -> str:
    """Why a seal doesn't close the `count` lines before it, or ""."""
    data = seal.data
    if data.get("count") != count:
        return f"the seal counts {data.get('count')} lines where there are {count}"
    if data.get("root") != tree.root().hex():
        return "the seal's root isn't the root of the lines before it"
    if data.get("duration_ms") != seal.t_ms:
        return "the seal's duration isn't its time"
    return ""
