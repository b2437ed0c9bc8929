"""`assistant forecast` and `assistant schema`: one JSON object, plain text, plain refusals."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from assistant.errors import SiteFileError, UsageError
from assistant.procedure.commands.forecast_cli import forecast
from assistant.procedure.commands.schema_cli import schema


def _run(command, *args: str):
    return CliRunner().invoke(command, list(args), standalone_mode=False, catch_exceptions=False)


def test_forecast_as_json_says_how_much_is_waiting():
    found = json.loads(_run(forecast, "gb-2-light-clean", "--json", "--runs", "50").stdout)
    assert 0 < found["waiting_s"] < found["expected_s"] and found["median_s"] <= found["p90_s"]
    assert found["options"] == {"drugs_differ": True, "final_alcohol": False}


def test_forecast_follows_the_answers():
    yes, no = (
        json.loads(
            _run(
                forecast, "gb-2-light-clean", "--json", "--runs", "20", "--option", f"drugs_differ={a}"
            ).stdout
        )["expected_s"]
        for a in ("yes", "no")
    )
    assert yes > no


def test_forecast_in_words():
    said = _run(forecast, "gb-2-start-of-day", "--runs", "20").stdout
    assert "nine times in ten" in said and "waiting" in said


def test_an_unknown_procedure_or_option_is_refused_with_the_nearest_name():
    with pytest.raises(SiteFileError, match="gb-2-light-clean"):
        _run(forecast, "gb-2-light-cleen")
    with pytest.raises(UsageError, match="drugs_differ"):
        _run(forecast, "gb-2-light-clean", "--option", "drug_differ=no")


def test_schema_prints_and_writes(tmp_path):
    assert json.loads(_run(schema, "agents").stdout)["title"] == "AgentsFile"
    assert set(json.loads(_run(schema, "--json").stdout)) == {"enclosure", "agents", "part", "procedure"}
    written = json.loads(_run(schema, "--out", str(tmp_path), "--json").stdout)["written"]
    assert len(written) == 4 and all(json.loads(Path(p).read_text()) for p in written)


def test_every_command_that_reads_site_files_takes_their_folder_by_the_same_name():
    from assistant.procedure.commands.check_cli import check
    from assistant.procedure.commands.forecast_cli import forecast
    from assistant.procedure.commands.kit_cli import kit
    from assistant.procedure.commands.sheet_cli import sheet
    from assistant.prover.prove_cli import prove
    from assistant.review.review_cli import review
    from assistant.station.approving.approve_cli import approve
    from assistant.station.live.run_cli import run

    for command in (approve, check, forecast, kit, sheet, prove, review, run):
        assert any("--procedures" in p.opts for p in command.params), command.name
