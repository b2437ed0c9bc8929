"""Findings as SARIF 2.1.0 (OASIS), so that editors and code hosts show them at their line."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from assistant import __version__
from assistant.procedure.rules.every import RULES, Finding

_LEVELS = {"error": "error", "warning": "warning", "note": "note"}


def to_sarif(findings: Sequence[Finding]) -> dict[str, Any]:
    """One run with every rule described and one result for each finding."""
    order = list(RULES)
    return {
        "$schema": "https://json.schemastore.org/sarif-2.1.0.json",
        "version": "2.1.0",
        "runs": [
            {
                "tool": {
                    "driver": {
                        "name": "gauntlet-check",
                        "version": __version__,
                        "rules": [
                            {
                                "id": r.id,
                                "shortDescription": {"text": r.sentence},
                                "help": {"text": f"Source: {r.source}."},
                                "defaultConfiguration": {"level": _LEVELS[r.severity]},
                            }
                            for r in RULES.values()
                        ],
                    }
                },
                "results": [
                    {
                        "ruleId": f.rule,
                        "ruleIndex": order.index(f.rule),
                        "level": _LEVELS[f.severity],
                        "message": {"text": f"{f.message} {f.suggestion}"},
                        "locations": [
                            {
                                "physicalLocation": {
                                    "artifactLocation": {"uri": f.file},
                                    "region": {"startLine": max(1, f.line), "startColumn": max(1, f.column)},
                                }
                            }
                        ],
                    }
                    for f in findings
                ],
            }
        ],
    }
