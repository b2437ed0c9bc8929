"""Runs the static rules over loaded procedures and gives located findings."""

from __future__ import annotations

from assistant.procedure.compile import compile_plan
from assistant.procedure.load import Loaded
from assistant.procedure.rules.every import RULES, Context, Finding


def check_procedure(loaded: Loaded) -> list[Finding]:
    """Every finding of every rule, without doubles, in the order of files and lines."""
    context = Context(loaded, compile_plan(loaded))
    found: set[Finding] = set()
    for rule in RULES.values():
        for node, field, message, suggestion in rule.run(context):
            file, line, column = loaded.place(node, field)
            found.add(Finding(file, line, column, rule.id, rule.severity, message, suggestion))
    return sorted(found)
