"""`assistant prove`: its JSON, its text and its exit codes."""

from __future__ import annotations

import json
import re
import shutil

import pytest
from click.testing import CliRunner

from assistant.procedure.loading.source import default_folder
from assistant.prover import prove_cli
from assistant.prover.prove_cli import prove
from assistant.run_command import run
from assistant.station.live.run_cli import run as live
from assistant.station.script.script import read_script
from tests.prover.support import QUICK, shipped

_KEYS = {"name", "proven", "properties", "states", "transitions", "seconds", "bounded", "counterexample"}


@pytest.fixture(autouse=True)
def _quick(monkeypatch):
    """The commands' own tests; how far the proof goes is tested elsewhere."""
    monkeypatch.setattr("assistant.prover.proof.bounds_for", lambda steps, options: QUICK)


def _broken_site(tmp_path):
    """A copy of the site in which the run-up is started by nobody."""
    site = tmp_path / "procedures"
    shutil.copytree(default_folder(), site)
    file = next(site.rglob("gb-2-start-of-day.yaml"))
    lines = file.read_text(encoding="utf-8").splitlines(keepends=True)
    at = next(i for i, line in enumerate(lines) if "id: start_run_up" in line)
    end = next(i for i in range(at + 1, len(lines)) if lines[i].lstrip().startswith("- "))
    file.write_text("".join(lines[:at] + lines[end:]), encoding="utf-8")
    return site


def test_a_proven_procedure_gives_one_object_and_exit_code_0():
    done = CliRunner().invoke(prove, ["gb-2-start-of-day", "--json"], standalone_mode=False)
    assert done.return_value == 0, done.output
    found = json.loads(done.stdout)["procedures"]
    assert len(found) == 1 and set(found[0]) >= _KEYS
    assert found[0]["proven"] is True and found[0]["counterexample"] is None
    assert "searching" in done.stderr


def test_a_file_with_a_missing_step_is_refuted_in_words_and_as_a_script(tmp_path):
    site, script = _broken_site(tmp_path), tmp_path / "broken.jsonl"
    arguments = ["gb-2-start-of-day", "--procedures", str(site), "--json", "--script", str(script)]
    done = CliRunner().invoke(prove, arguments, standalone_mode=False)
    assert done.return_value == 1, done.output
    found = json.loads(done.stdout)["procedures"][0]
    assert not found["proven"]
    example = found["counterexample"]
    assert example["words"] and any('say "affirmative"' in line for line in example["words"])
    assert len(read_script(script)) == len(example["script"])


def test_the_text_names_the_property_and_the_way_there(tmp_path):
    done = CliRunner().invoke(prove, ["gb-2-start-of-day", "--procedures", str(_broken_site(tmp_path))])
    assert "NOT PROVEN" in done.output and "Broken:" in done.output and "inputs:" in done.output
    assert done.exit_code == 1


def test_a_counterexample_is_told_in_names_and_never_in_ids(tmp_path):
    site = _broken_site(tmp_path)
    done = CliRunner().invoke(prove, ["gb-2-start-of-day", "--folder", str(site)])
    words, script = done.output.split("The same as a script")
    assert "the run-up" in words or "Wait for the run-up" in words
    assert ', at "' in words and "gb-2-start-of-day.yaml:" in words  # the step as spoken; where the fault shows
    ids = {s.id for s in shipped("gb-2-start-of-day")[0].steps}
    ids |= {*shipped("gb-2-start-of-day")[0].openings, "run_up", "bridge:"}
    told = words.replace(str(site), "").replace("gb-2-start-of-day", "")
    assert [i for i in ids if re.search(rf"(?<![\w.]){re.escape(i)}(?![\w.])", told)] == []
    assert script.count('"input"') == len(re.findall(r"^ +\d+\. ", words, re.MULTILINE))


def test_a_script_is_played_by_run_to_where_the_property_breaks(tmp_path):
    site, script = _broken_site(tmp_path), tmp_path / "broken.jsonl"
    CliRunner().invoke(prove, ["gb-2-start-of-day", "--folder", str(site), "--script", str(script)])
    arguments = ["gb-2-start-of-day", "--procedures", str(site), "--script", str(script)]
    played = CliRunner().invoke(live, [*arguments, "--records", str(tmp_path / "records")], standalone_mode=False)
    assert played.return_value == 0, played.output
    assert "Start the run-up" in played.output  # the step that nobody wrote, asked for by the core


def test_a_proof_names_its_bounds_and_who_looks_for_what_the_files_leave_out():
    done = CliRunner().invoke(prove, ["gb-2-start-of-day"])
    assert "values are said whole" in done.output and "in a row a surface dried" in done.output
    assert "assistant check" in done.output


def test_an_unknown_name_is_a_file_that_cannot_be_read(capsys):
    assert run(prove, ["no-such-procedure"]) == 2
    assert "Traceback" not in capsys.readouterr().err


def test_no_name_at_all_is_refused_with_what_to_try(capsys):
    assert run(prove, []) == 2
    assert "--all" in capsys.readouterr().err


def test_a_search_that_was_stopped_says_that_nothing_is_claimed(capsys):
    from assistant.prover.proof import Proof

    prove_cli._show(Proof("x", False, {}, 10, 20, 0.1, ""))
    assert "Nothing is claimed" in capsys.readouterr().out
