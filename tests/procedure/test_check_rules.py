"""Every static rule: a mechanically mutated shipped procedure breaks it, and no shipped procedure does."""

from __future__ import annotations

import shutil

import pytest

from assistant.procedure.loading.load import load_procedure, procedure_names
from assistant.procedure.loading.source import default_folder
from assistant.procedure.rules.check import check_procedure
from assistant.procedure.rules.every import RULES
from tests.procedure.mutations import MUTATIONS, E, Swap


@pytest.fixture(scope="module")
def shipped():
    """rule id -> names of shipped procedures it finds something in."""
    found: dict[str, list[str]] = {}
    for name in procedure_names():
        for finding in check_procedure(load_procedure(name)):
            found.setdefault(finding.rule, []).append(f"{name}: {finding.message}")
    return found


def test_there_is_a_mutation_for_every_rule_and_a_rule_for_every_mutation():
    assert set(MUTATIONS) == set(RULES) and len(RULES) >= 30


@pytest.mark.parametrize("rule_id", sorted(RULES))
def test_the_shipped_procedures_keep_the_rule(rule_id, shipped):
    assert shipped.get(rule_id, []) == []


@pytest.mark.parametrize("rule_id", sorted(RULES))
def test_a_mutated_procedure_breaks_the_rule_at_a_line_with_a_suggestion(rule_id, tmp_path):
    folder = tmp_path / "procedures"
    shutil.copytree(default_folder(), folder)
    name, edits = MUTATIONS[rule_id]
    for edit in edits:
        edit.apply(folder)
    hits = [f for f in check_procedure(load_procedure(name, folder)) if f.rule == rule_id]
    assert hits, f"{rule_id} finds nothing"
    lines = {}
    for hit in hits:
        text = lines.setdefault(hit.file, (folder.parent / hit.file).read_text(encoding="utf-8").splitlines())
        assert 1 <= hit.line <= len(text) and hit.column >= 1
        assert hit.message.endswith((".", "?")) and hit.suggestion


@pytest.mark.parametrize("rule_id", sorted(RULES))
def test_a_rule_says_what_it_wants_and_what_it_rests_on(rule_id):
    r = RULES[rule_id]
    assert r.sentence.endswith(".") and r.source and r.severity in ("error", "warning", "note")


def test_an_airlock_whose_doors_nothing_holds_apart_is_found_by_what_its_purge_needs(tmp_path):
    """The interlock and both doors' own conditions are gone: only the purge still tells which belong together."""
    folder = tmp_path / "procedures"
    shutil.copytree(default_folder(), folder)
    for edit in (
        Swap(E, "  - [outer_door, inner_door]\n"),
        Swap(E, "      - {opening: inner_door, is: closed}\n    max_open: 5 min\n",
             "      - {machine: fan, is: on}\n    max_open: 5 min\n"),
        Swap(E, "      - {opening: outer_door, is: closed}\n      - {cycle: purge, is: complete}\n"),
    ):
        edit.apply(folder)
    hits = [f for f in check_procedure(load_procedure("gb-2-end-of-day", folder)) if f.rule == "interlock-missing"]
    assert [h.suggestion for h in hits] == ["Add [outer_door, inner_door] to interlocks."]
