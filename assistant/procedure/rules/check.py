"""Runs the static rules over loaded procedures and gives located findings."""

from __future__ import annotations

from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import Loaded
from assistant.procedure.rules.every import RULES, Context, Finding
from assistant.procedure.rules.needs import can_be_judged


def check_procedure(loaded: Loaded) -> list[Finding]:
    """Every finding of every rule, without doubles, in the order of files and lines. Where something of the files was
    left out because of a fault, rules that need it aren't asked, and nothing is found at what lost a field."""
    context = Context(loaded, compile_plan(loaded))
    gaps = loaded.site.gaps
    found: set[Finding] = set()
    for rule in RULES.values():
        if not can_be_judged(rule.id, gaps):
            continue
        for node, field, message, suggestion in rule.run(context):
            kind = getattr(node, "kind", "") if not node.path else ""
            if not gaps.blames(node.file, node.path) and f"{kind}.{field.split('.')[0]}" not in gaps.aspects:
                file, line, column = loaded.place(node, field)
                found.add(Finding(file, line, column, rule.id, rule.severity, message, suggestion))
    return sorted(found)


def not_judged(loaded: Loaded) -> list[str]:
    """Ids of the rules that need something the files' faults leave open."""
    return [rule for rule in RULES if not can_be_judged(rule, loaded.site.gaps)]
