"""Where approvals are kept, and whether a plan is approved as it stands, with this machine's key store."""

from __future__ import annotations

import os
from pathlib import Path

import platformdirs

from assistant.procedure.approval import Approval, approval_of
from assistant.procedure.model.plan import Plan
from assistant.record.commands.shared import keys_root
from assistant.record.signing.keys import KeyStore, signature_holds


def approvals_root(chosen: str | Path | None = None) -> Path:
    """Where approvals live: chosen, $GAUNTLET_APPROVALS, or the user's data folder."""
    return Path(
        chosen
        or os.environ.get("GAUNTLET_APPROVALS")
        or platformdirs.user_data_path("gauntlet") / "approvals"
    )


def is_approved(plan: Plan, folder: Path | None = None, keys_folder: Path | None = None) -> Approval | None:
    """The approval that stands for exactly this plan's content, or None. Raises RefusedError, RecordError."""
    store = KeyStore(keys_root(str(keys_folder) if keys_folder else None))
    return approval_of(
        plan,
        approvals_root(folder),
        holds=signature_holds,
        key_problem=store.problem_with,
        public_keys=store.public_keys(),
    )
