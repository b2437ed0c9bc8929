"""Disinfection is credited to ethanol only with evidence at its strength and contact time (common practice, no source)."""

from __future__ import annotations

import shutil

import pytest

from assistant.procedure.loading.load import load_procedure
from assistant.procedure.loading.source import default_folder
from assistant.procedure.rules.check import check_procedure

RULE = "ethanol-no-disinfection"
# The example of an author's file. The document is invented, like the site.
EVIDENCE = """
    evidence:
      - serves: disinfection
        document: Tern Hill validation report 7, ethanol on steel and polycarbonate
        revision: "2"
        shows: at least a 4 log reduction of vegetative bacteria on coupons of both materials
        strength: 50 %
        contact: 2 min
    contact: 2 min
"""


def _rules(tmp_path, evidence: str) -> list:
    folder = tmp_path / "procedures"
    shutil.copytree(default_folder(), folder)
    path = folder / "agents" / "tern-hill.yaml"
    text = path.read_text(encoding="utf-8")
    credited = "stock_strength: 96 %\n    serves: [cleaning, disinfection]"
    text = text.replace("stock_strength: 96 %\n    serves: [cleaning]", credited + evidence.rstrip(), 1)
    assert credited in text
    path.write_text(text, encoding="utf-8")
    return [f for f in check_procedure(load_procedure("pi-1-rigorous-clean", folder)) if f.rule == RULE]


def test_with_evidence_at_its_strength_and_contact_time_the_credit_stands(tmp_path):
    assert _rules(tmp_path, EVIDENCE) == []


@pytest.mark.parametrize(
    ("evidence", "why"),
    [
        ("", "cites no evidence"),
        (EVIDENCE.replace("serves: disinfection", "serves: cleaning"), "cites no evidence"),
        (EVIDENCE.replace("strength: 50 %", "strength: 70 %"), "for 70 %"),
        (EVIDENCE.replace("        contact: 2 min", "        contact: 5 min"), "for 300 s, and its contact time is 120 s"),
    ],
)
def test_without_evidence_that_carries_it_the_credit_is_refused_with_what_is_short(tmp_path, evidence, why):
    found = _rules(tmp_path, evidence)
    assert len(found) == 1 and why in found[0].message and "document, revision" in found[0].suggestion
