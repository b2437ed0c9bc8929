"""A fault of YAML's syntax hides nothing of the rest: what is wrong before and behind it is named in the same run.

What isn't YAML is decided by ruamel.yaml, an independent parser of YAML 1.2: each text below is refused by it.
"""

from __future__ import annotations

import shutil

import pytest
from ruamel.yaml import YAML
from ruamel.yaml.error import YAMLError

from assistant.procedure.commands.check_cli import check_all
from assistant.procedure.loading.problems import SiteFileProblems
from assistant.procedure.loading.source import default_folder
from assistant.procedure.loading.yaml_tree import parse_what_can_be
from tests.procedure.mutations import Drop, Swap

LIGHT, E = "gb-2/gb-2-light-clean.yaml", "enclosures/gb-2.yaml"
# name -> (file, what stands there, what is written for it)
FAULTS = {
    "a quote that isn't closed": (LIGHT, "{en: Wait for the window., ko", '{en: "Wait for the window., ko'),
    "a colon in plain text": (LIGHT, "document: Northmere", "document: Northmere: the"),
    "a bracket that isn't closed": (LIGHT, "cleans_zones: [airlock, work_area, sleeves]", "cleans_zones: [airlock, work_area, sleeves"),
    "a step indented by a tab": (LIGHT, "  - id: window_acted\n", "\t- id: window_acted\n"),
    "a field indented too far": (LIGHT, "    do: cycle\n    cycle: settle\n", "    do: cycle\n      cycle: settle\n"),
    "a brace too many": (LIGHT, "    cycle: settle\n    say", "    cycle: settle\n    look_for: }\n    say"),
    "an enclosure with a bracket not closed": (E, "values: [on, off], at_start: on, at_end: on, role: light}",
                                              "values: [on, off, at_start: on, at_end: on, role: light"),
}


@pytest.fixture
def folder(tmp_path):
    copy = tmp_path / "procedures"
    shutil.copytree(default_folder(), copy)
    return copy


def _spoil(folder, fault: str) -> str:
    file, old, new = FAULTS[fault]
    Swap(file, old, new).apply(folder)
    text = (folder / file).read_text(encoding="utf-8")
    with pytest.raises(YAMLError):
        YAML(typ="safe", pure=True).load(text)
    return file


@pytest.mark.parametrize("fault", FAULTS)
def test_the_fault_alone_is_one_complaint_and_starts_no_guess(fault, folder):
    file = _spoil(folder, fault)
    checked = check_all(("gb-2-light-clean",), folder)
    assert [p.file for p in checked.unreadable] == [f"procedures/{file}"], [p.message for p in checked.unreadable]
    assert "isn't YAML" in checked.unreadable[0].message and checked.unreadable[0].line
    assert checked.findings == []


@pytest.mark.parametrize("fault", FAULTS)
def test_wrong_names_and_broken_rules_elsewhere_in_the_file_are_named_with_it(fault, folder):
    Swap(LIGHT, "    gauge: chamber_pressure\n", "    gauge: chamber_presure\n").apply(folder)  # a name, before most faults
    Drop("parts/waste-from-airlock.yaml", "change_gloves").apply(folder)  # a rule
    Swap(LIGHT, "zone: work_area\n    except: [diffuser, ceiling, filter_guard, bar, tray_edges, return_grille]\n    agent: disinfectant",
         "zone: work_area\n    except: [diffuser, ceiling, filter_guard, bar, tray_edges, return_grille]\n    agent: disinfectent").apply(folder)
    file = _spoil(folder, fault)
    checked = check_all(("gb-2-light-clean",), folder)
    told = " ".join(p.message for p in checked.unreadable)
    assert "isn't YAML" in told and "chamber_presure" in told and "disinfectent" in told, told
    assert len(checked.unreadable) == 3, (file, told)
    found = {f.rule for f in checked.findings} | set(checked.not_judged["gb-2-light-clean"])
    assert "gloves-after-waste" in found


def test_several_faults_of_syntax_are_named_each_at_its_line(folder):
    for fault in ("a bracket that isn't closed", "a colon in plain text", "a field indented too far"):
        _spoil(folder, fault)
    checked = check_all(("gb-2-light-clean",), folder)
    text = (folder / LIGHT).read_text(encoding="utf-8").splitlines()
    places = sorted(p.line for p in checked.unreadable)
    assert len(places) == 3 and all("isn't YAML" in p.message for p in checked.unreadable)
    wanted = [n for n, line in enumerate(text, 1) if "Northmere: the" in line or line == "      cycle: settle"]
    assert set(wanted) <= set(places), (wanted, places)


def test_a_rule_that_the_lost_part_does_not_concern_is_still_asked(folder):
    _spoil(folder, "a colon in plain text")
    Drop("parts/waste-from-airlock.yaml", "change_gloves").apply(folder)
    checked = check_all(("gb-2-light-clean",), folder)
    assert len(checked.unreadable) == 1 and "gloves-after-waste" in {f.rule for f in checked.findings}


def test_a_file_of_nothing_but_faults_is_given_up_in_good_time():
    text = "\n".join(["steps:", *(f"  - id: s{n}\n    say: a: b: [" for n in range(3_000))])
    with pytest.raises(SiteFileProblems):
        parse_what_can_be(text, "x.yaml")
