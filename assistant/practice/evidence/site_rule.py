"""One rule for signing off at a site: kept beside the evidence, which every command that asks for the rule reads.

`practice`, `review`, `signoff` and `run` can each be given a rule's file. Were they given different ones, what a supervisor
signs under one would not be what live work asks for under the other.
"""

from __future__ import annotations

from pathlib import Path

from assistant.errors import UsageError
from assistant.practice.evidence.signoff import SignOffRule, load_rule

FILE = "sign_off.yaml"


def site_rule(evidence: Path, chosen: Path | None = None) -> SignOffRule:
    """The rule in the evidence folder; without one the `chosen` file, or else the one that comes with the program.

    Raises UsageError where `chosen` asks for something else than the rule in the folder, SiteFileError for a broken file.
    """
    kept = evidence / FILE
    if not kept.exists():
        return load_rule(chosen)
    rule = load_rule(kept)
    if chosen is not None and load_rule(chosen).sha256 != rule.sha256:
        raise UsageError(
            f"{chosen} asks for something else than the site's rule for signing off.", where=str(kept),
            expected="one rule for practice, review, signoff and run", try_next="leave the option out, or change the site's rule",
        )
    return rule
