"""Whether what is on disk is what was approved for live use."""

from __future__ import annotations

from pathlib import Path

from assistant.procedure.commands.approving import is_approved
from assistant.procedure.compile import compile_plan
from assistant.procedure.load import Loaded


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
