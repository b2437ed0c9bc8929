"""`assistant check`: its contract of JSON fields and exit codes, and SARIF by its own schema's rules."""

from __future__ import annotations

import json
import shutil

import pytest
from click.testing import CliRunner

from assistant.procedure.commands.check_cli import check
from assistant.procedure.loading.source import default_folder
from tests.procedure.mutations import MUTATIONS, Swap


def _run(*args: str):
    return CliRunner().invoke(check, list(args), standalone_mode=False, catch_exceptions=False)


@pytest.fixture
def mutated(tmp_path):
    folder = tmp_path / "procedures"
    shutil.copytree(default_folder(), folder)
    for edit in MUTATIONS["agent-on-material"][1]:
        edit.apply(folder)
    return folder


def test_a_clean_procedure_exits_0_with_empty_findings():
    result = _run("gb-2-start-of-day", "--json")
    assert result.return_value == 0 and json.loads(result.stdout)["findings"] == []


def test_findings_exit_1_with_the_fields_of_the_contract(mutated):
    result = _run("gb-2-light-clean", "--folder", str(mutated), "--json")
    assert result.return_value == 1
    found = json.loads(result.stdout)["findings"]
    assert {"rule", "severity", "file", "line", "column", "message", "suggestion"} <= set(found[0])
    assert "agent-on-material" in {f["rule"] for f in found}


def test_an_unreadable_file_exits_2_and_says_where_on_standard_error(tmp_path):
    path = tmp_path / "x.yaml"
    path.write_text("format: 2\nkind: procedure\n\tid: x\n")
    result = _run(str(path), "--json")
    assert result.return_value == 2
    told = {p["message"]: p["line"] for p in json.loads(result.stdout)["unreadable"]}
    assert [line for message, line in told.items() if "isn't YAML" in message] == [3]
    assert "title is missing." in told  # the rest is read all the same
    assert "x.yaml:3" in result.stderr


def test_the_list_of_rules():
    result = _run("--list-rules", "--json")
    rules = json.loads(result.stdout)["rules"]
    assert len(rules) >= 30 and all({"id", "sentence", "severity", "source"} <= set(r) for r in rules)


def test_sarif_points_at_known_rules_and_lines(mutated):
    result = _run("gb-2-light-clean", "--folder", str(mutated), "--sarif")
    log = json.loads(result.stdout)
    # SARIF 2.1.0 (OASIS): version, runs[].tool.driver.rules, results with ruleIndex into them.
    assert log["version"] == "2.1.0"
    run = log["runs"][0]
    for found in run["results"]:
        assert run["tool"]["driver"]["rules"][found["ruleIndex"]]["id"] == found["ruleId"]
        assert found["locations"][0]["physicalLocation"]["region"]["startLine"] >= 1
    assert run["results"]


def test_sarif_carries_faults_of_form_at_their_line_as_well(tmp_path):
    path = tmp_path / "x.yaml"
    path.write_text("format: 2\nkind: procedure\n\tid: x\n")
    run = json.loads(_run(str(path), "--sarif").stdout)["runs"][0]
    assert {r["ruleId"] for r in run["results"]} == {"site-file"}
    lines = {r["message"]["text"]: r["locations"][0]["physicalLocation"]["region"]["startLine"] for r in run["results"]}
    assert [line for text, line in lines.items() if "isn't YAML" in text] == [3]
    assert run["tool"]["driver"]["rules"][run["results"][0]["ruleIndex"]]["id"] == "site-file"


def test_sarif_says_which_rules_were_not_asked_and_of_what(tmp_path):
    folder = tmp_path / "procedures"
    shutil.copytree(default_folder(), folder)
    Swap("gb-2/gb-2-end-of-day.yaml", "do: wet", "do: wett").apply(folder)
    args = ("gb-2-end-of-day", "--folder", str(folder))
    run = json.loads(_run(*args, "--sarif").stdout)["runs"][0]
    # SARIF 2.1.0 (OASIS): invocations[].toolExecutionNotifications[].associatedRule points into the driver's rules.
    (invocation,) = run["invocations"]
    assert invocation["executionSuccessful"] is False and invocation["exitCode"] == 2
    told = [n["associatedRule"] for n in invocation["toolExecutionNotifications"]]
    assert all(run["tool"]["driver"]["rules"][rule["index"]]["id"] == rule["id"] for rule in told)
    assert [rule["id"] for rule in told] == json.loads(_run(*args, "--json").stdout)["not_judged"]["gb-2-end-of-day"]
    clean = json.loads(_run("gb-2-end-of-day", "--sarif").stdout)["runs"][0]["invocations"]
    assert clean == [{"executionSuccessful": True, "exitCode": 0, "toolExecutionNotifications": []}]


def test_text_names_file_line_rule_and_what_to_try(mutated):
    result = _run("gb-2-light-clean", "--folder", str(mutated))
    assert "gb-2-light-clean.yaml:" in result.stdout and "[agent-on-material]" in result.stdout
    assert "Try:" in result.stdout


def test_a_folder_is_checked_whole(mutated):
    result = _run(str(mutated), "--json")
    assert result.return_value == 1


def test_check_says_which_procedure_is_worded_in_which_language_and_how_much_is_missing():
    said = _run("gb-2-light-clean", "gb-2-start-of-day").stdout
    assert "gb-2-light-clean: complete in Korean." in said
    rows = {r["procedure"]: r for r in json.loads(_run("gb-2-light-clean", "gb-2-start-of-day", "--json").stdout)["languages"]}
    assert rows["gb-2-light-clean"]["missing"] == 0 and rows["gb-2-light-clean"]["promised"]
    other = rows["gb-2-start-of-day"]
    assert f"gb-2-start-of-day: {other['missing']} of {other['texts']} texts aren't in Korean" in said
