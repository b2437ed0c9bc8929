"""`contact_time`: no contact is complete before its surface was wet for its time; and what a mishap spoiled isn't
complete without being done again (`redo`)."""

from __future__ import annotations

from assistant.prover import naming
from assistant.prover.truth import Truth
from assistant.prover.watching.site import Found, Site
from assistant.session.facts.contacts import ContactCompleted


def contact_completed(site: Site, t: Truth, fact: ContactCompleted, found: Found) -> None:
    surface, name = fact.surface, site.the(fact.surface)
    wet = t.wet.get(surface)
    if wet is None:
        undone = any(x.id in t.spoiled and x.surface == surface for x in site.need.tasks)
        why = "although a mishap spoiled it" if undone else "although it isn't wet"
        found.append(("redo" if undone else "contact_time", f"{name} is called complete {why}"))
        return
    need = site.need.contact_ms.get(wet.agent, 0)
    if fact.due_ms - wet.since_ms < need:
        found.append((
            "contact_time",
            f"{name} is called complete after {(fact.due_ms - wet.since_ms) / 1000:g} s; "
            f"{naming.agent(site.plan, wet.agent)} needs {need / 1000:g} s",
        ))
    elif fact.due_ms >= wet.dries_ms and need:
        found.append(("contact_time", f"{name} is called complete although it had dried before"))
    elif fact.at_ms < fact.due_ms:
        found.append(("contact_time", f"{name} is called complete before its time"))
