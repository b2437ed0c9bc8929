"""The rich plan with what each mishap endangers, as a site would say it."""

from __future__ import annotations

from dataclasses import replace

from assistant.procedure.model import plan as p
from tests.session.rich_plan import rich_plan

URGENT = {
    "torn": p.URGENCY_PERSON, "splash": p.URGENCY_PERSON, "unwell": p.URGENCY_PERSON, "fire": p.URGENCY_PERSON,
    "spill": p.URGENCY_CONTAINMENT, "alarm": p.URGENCY_CONTAINMENT, "power": p.URGENCY_CONTAINMENT,
}


def urgent_plan(**changes: object) -> p.Plan:
    """The plan; `changes` replaces fields of it."""
    plan = rich_plan()
    mishaps = {name: replace(m, urgency=URGENT.get(name, m.urgency)) for name, m in plan.mishaps.items()}
    mishaps["torn"] = replace(mishaps["torn"], spoils=())  # so that what is wet can dry meanwhile
    return replace(plan, **{"mishaps": mishaps, **changes})
