"""All static rules. Importing this module registers them."""

from __future__ import annotations

from assistant.procedure.rules import (
    agents,
    doors,
    gloves,
    hands,
    leaving,
    order,
    people,
    spraying,
    times,
    trays,
    waste,
    wording,
)
from assistant.procedure.rules.base import ERROR, NOTE, RULES, WARNING, Finding, Rule
from assistant.procedure.rules.walk import Context

_GROUPS = (agents, spraying, order, trays, times, doors, hands, waste, gloves, leaving, people, wording)

__all__ = ["ERROR", "NOTE", "RULES", "WARNING", "Context", "Finding", "Rule"]
