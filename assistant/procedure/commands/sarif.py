"""Findings as SARIF 2.1.0 (OASIS), so that editors and code hosts show them at their line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from assistant import __version__
from assistant.procedure.loading.problems import Problem
from assistant.procedure.rules.every import RULES, Finding

SITE_FILE = "site-file"  # faults of form and of names, which no rule of ours is asked about
_LEVELS = {"error": "error", "warning": "warning", "note": "note"}


def to_sarif(
    findings: Sequence[Finding], unreadable: Sequence[Problem] = (), not_judged: Mapping[str, Sequence[str]] | None = None
) -> dict[str, Any]:
    """One run with every rule described and one result for each finding and each fault of form or name. Each rule that
    wasn't asked of a procedure, since it needs what has a fault, is one of `toolExecutionNotifications`."""
    order = [SITE_FILE, *RULES]
    results = [
        _result(order, SITE_FILE, "error", _told(p), p.file, p.line, p.column)
        for p in unreadable
    ] + [
        _result(order, f.rule, _LEVELS[f.severity], f"{f.message} {f.suggestion}", f.file, f.line, f.column)
        for f in findings
    ]
    rules = [_rule(SITE_FILE, "A site file can be read, and every name in it exists.", "the format's schema", "error")]
    rules += [_rule(r.id, r.sentence, r.source, _LEVELS[r.severity]) for r in RULES.values()]
    invocation = {
        "executionSuccessful": not unreadable,
        "exitCode": 2 if unreadable else 1 if findings else 0,
        "toolExecutionNotifications": [
            _not_asked(order, name, rule) for name, rules in (not_judged or {}).items() for rule in rules
        ],
    }
    driver = {"name": "gauntlet-check", "version": __version__, "rules": rules}
    return {
        "$schema": "https://json.schemastore.org/sarif-2.1.0.json",
        "version": "2.1.0",
        "runs": [{"tool": {"driver": driver}, "invocations": [invocation], "results": results}],
    }


def _not_asked(order: list[str], procedure: str, rule: str) -> dict[str, Any]:
    return {
        "level": "warning",
        "message": {"text": f"{procedure}: the rule {rule} needs what has a fault; mend that and check again."},
        "associatedRule": {"id": rule, "index": order.index(rule)},
    }


def _told(problem: Problem) -> str:
    expected = f"Expected: {problem.expected}." if problem.expected else ""
    return " ".join(part for part in (problem.message, expected, problem.try_next) if part)


def _rule(rule: str, sentence: str, source: str, level: str) -> dict[str, Any]:
    return {
        "id": rule,
        "shortDescription": {"text": sentence},
        "help": {"text": f"Source: {source}."},
        "defaultConfiguration": {"level": level},
    }


def _result(order: list[str], rule: str, level: str, message: str, file: str, line: int, column: int) -> dict[str, Any]:
    place = {
        "artifactLocation": {"uri": file},
        "region": {"startLine": max(1, line), "startColumn": max(1, column)},
    }
    return {
        "ruleId": rule,
        "ruleIndex": order.index(rule),
        "level": level,
        "message": {"text": message},
        "locations": [{"physicalLocation": place}],
    }
