"""The gate before live work: whoever works has practised as the site asks, and a supervisor has signed it."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from assistant.errors import RefusedError
from assistant.procedure.loading.load import load_procedure
from assistant.review.people.accounts import Accounts
from assistant.review.people.practice_signoff_lines import SIGNED, sign_offs, why_not_standing
from assistant.review.serving.places import home_folder, keys_folder
from assistant.review.serving.wiring import own_folder, practice_evidence

SHIPPED = "default"


def require_sign_off(
    person: str, procedure: str, rule: str, *, site: Path | None = None, evidence: Path | None = None,
    home: Path | None = None, today: date | None = None,
) -> None:
    """Raises RefusedError naming what is missing where `person`'s practice doesn't meet the rule (a file, or "default"
    for the site's own, else the one that comes with the program) or no supervisor's sign-off stands for `procedure`.
    `site`: folder of the site's files. Raises UsageError for a rule that isn't the site's, SiteFileError for a broken
    rule or procedure, RecordError for damaged keys."""
    wanted = load_procedure(procedure, site).procedure.id
    port = practice_evidence(evidence, None if rule == SHIPPED else Path(rule), lambda: today or date.today())
    name = own_folder(port, person)
    found = port.of(name)
    assert found is not None  # for whoever has no evidence yet it has nothing met
    missing = [what for what, met, _ in found.demands if not met]
    why = _no_sign_off(port.folder / name, name, found.rule_sha256, [s.sha256 for s in found.sessions], wanted, home)
    if not missing and not why:
        return
    raise RefusedError(
        f"{person} may not work on {wanted} yet. Missing: {'; '.join([*missing, *([why] if why else [])])}.",
        try_next=f"assistant practice --evidence '{person}'" if missing
        else "A supervisor looks at the evidence and signs: assistant review, page Practice.",
    )


def _no_sign_off(folder: Path, name: str, rule_sha256: str, here_now: list[str], procedure: str, home: Path | None) -> str:
    """Why no sign-off stands, said of the newest one; "" where one does."""
    why = ""
    for one in sign_offs(folder, name, Accounts(home_folder(home), keys=keys_folder(home)))[::-1]:
        if one.kind == SIGNED or one.problem:
            problem = why_not_standing(one, rule_sha256, here_now, procedure)
            if not problem:
                return ""
            why = why or f"a sign-off that stands ({problem})"
    return why or "a supervisor's sign-off"
