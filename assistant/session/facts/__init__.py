"""Every kind of fact, collected from the families listed here; a test walks the package and finds one left out. A kind
and its fields are never taken away; a new field has a default."""

from __future__ import annotations

from assistant.session.facts import contacts, lines, machine, practice, session, steps, troubles
from assistant.session.facts.base import Fact

FAMILIES = (session, lines, steps, contacts, machine, troubles, practice)

KINDS: dict[str, type[Fact]] = {
    value.KIND: value
    for family in FAMILIES
    for value in vars(family).values()
    if isinstance(value, type) and issubclass(value, Fact) and value is not Fact
}
