"""A finished record, read back and held against what the session had."""

from __future__ import annotations

from pathlib import Path

from assistant.account.digest import facts_sha256, state_sha256
from assistant.account.reading import load_session
from assistant.account.rederiving import rederive
from assistant.errors import GauntletError
from assistant.record.verify import verify


def prove(folder: Path, facts: str, state: str) -> list[str]:
    """Read the record back: chain and seal, the same facts, the same end state, the same decisions."""
    report = verify(folder)
    problems = [] if report.intact else [f"line {report.first_bad_line}: {'; '.join(report.problems)}"]
    try:
        opened = load_session(folder)
    except GauntletError as error:
        return [*problems, error.what]
    if facts_sha256(opened.facts) != facts:
        problems.append("the record holds other facts than the session had")
    if state_sha256(opened.state()) != state:
        problems.append("the record folds to another end state")
    return problems + rederive(opened)
