"""What the judge found, in words for whoever practised: no step's id, and what was done rather than what was believed."""

from __future__ import annotations

import re

from assistant.procedure.model.plan import Plan

_SHORTEST_WET = re.compile(r"(\S+) was wet for (\d+) ms only")


def step_text(plan: Plan, step_id: str) -> str:
    """A step as it is said in short; for one made by the assistant, or unknown, what is known of it."""
    steps = (*plan.steps, *(step for mishap in plan.mishaps.values() for step in mishap.steps))
    step = next((step for step in steps if step.id == step_id), None)
    if step is not None:
        return step.brief or step.say
    _, _, subject = step_id.removeprefix("bridge:").partition(":")
    named = next((table[subject].name for table in (plan.surfaces, plan.cycles, plan.openings) if subject in table), "")
    return f"what was asked of the {named}" if named else "what was asked in between"


def untrue_text(plan: Plan, what: str) -> str:
    """A finding of the oracle ("back_wall was believed wet again") as a sentence for the person it is about."""
    about = what.split(" was ")[0]
    short = _SHORTEST_WET.fullmatch(what)
    if short and short[1] in plan.surfaces:
        return f"the {plan.surfaces[short[1]].name} stayed wet for {int(short[2]) // 1000} s only"
    if what.endswith(" was believed wet again") and about in plan.surfaces:
        return f"the {plan.surfaces[about].name} was said to be wet again, and it wasn't"
    if what.endswith(" was believed done"):
        return f"confirmed, though it wasn't done: {step_text(plan, about)}"
    return what
