"""Replay as proof: a record folded and decided again by today's core must end where its seal says."""

from __future__ import annotations

from pathlib import Path

from assistant.account.digest import state_sha256
from assistant.account.reading import opened_of
from assistant.account.rederiving import rederive
from assistant.errors import GauntletError
from assistant.record.reader import Record, read_record
from assistant.record.verify import DeepOutcome, deep_verify


def fold_deep(record: Record) -> DeepOutcome:
    """Fold a record through today's core, and decide everything again where the rules are the same version."""
    if record.header.get("transcribed") is True:
        return DeepOutcome("")  # paper has no core facts to fold
    opened = opened_of(record)
    return DeepOutcome(state_sha256(opened.state(), record.rules), problems=tuple(rederive(opened)))


def deep_problems(path: Path | str) -> list[str]:
    """What doesn't agree when the record is folded, and decided again, by today's core; empty: replay is proof."""
    try:
        return deep_verify(read_record(path), fold_deep)
    except GauntletError as error:
        return [f"It can't be folded: {error.what}"]
    except (KeyError, IndexError, TypeError, ValueError, AttributeError, RuntimeError) as error:
        # Whole, but made by somebody else's hand: its facts have shapes that no session writes.
        return [f"It can't be folded: its facts aren't a session's ({type(error).__name__})"]
