"""`cycle_time`: no cycle is complete before its time."""

from __future__ import annotations

from assistant.prover.truth import Truth
from assistant.prover.watching.site import Found, Site
from assistant.session.facts.machine import CycleCompleted


def cycle_completed(site: Site, t: Truth, fact: CycleCompleted, found: Found) -> None:
    name = site.the(fact.cycle)
    status, since = t.cycles.get(fact.cycle, ("", 0))
    need = site.need.cycles.get(fact.cycle)
    if status != "running":
        found.append(("cycle_time", f"{name} is called complete although it was broken"))
    elif need and fact.due_ms - since < need.floor_ms:
        found.append((
            "cycle_time",
            f"{name} is called complete after {(fact.due_ms - since) / 1000:g} s; "
            f"it needs {need.floor_ms / 1000:g} s",
        ))
    elif fact.at_ms < fact.due_ms:
        found.append(("cycle_time", f"{name} is called complete before its time"))
