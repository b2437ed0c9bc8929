"""`mishap_steps`: work goes on after a mishap only when its own steps were done. (`redo`: contacts, endings.)"""

from __future__ import annotations

from assistant.prover import naming
from assistant.prover.truth import Truth
from assistant.prover.watching.site import Found, Site
from assistant.session.facts.troubles import BranchLeft


def branch_left(site: Site, t: Truth, fact: BranchLeft, found: Found) -> None:
    need = site.need.mishaps.get(fact.mishap)
    missing = [s for s in need.steps if s not in t.done] if need and not t.skipped else []
    if missing:
        mishap = naming.mishap(site.plan, fact.mishap)
        found.append(("mishap_steps", f"work goes on after {mishap} without {site.step_told(missing[0])}"))
