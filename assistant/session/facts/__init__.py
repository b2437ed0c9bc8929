"""Every kind of fact, found by walking this package, so that a new one can't be forgotten."""

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
