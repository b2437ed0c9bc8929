"""At level recall the next step is asked for and scored; evidence is shown; a live run can demand practice."""

from __future__ import annotations

import json
import queue
from datetime import date

import pytest
from click.testing import CliRunner

from assistant.errors import RefusedError, SiteFileError
from assistant.practice.evidence import require_practice
from assistant.practice.levels import question
from assistant.practice.practice_cli import practice
from assistant.practice.score import RECALL, EnclosureLog, Recalled, score
from assistant.practice.signoff import Session, Tracer, TraineeFile
from assistant.station.run_cli import run


@pytest.mark.parametrize(("typed", "number"), [("2", 2), ("two", 2), ("", 0), ("9", 0), ("the window", 0), ("²", 0)])
def test_an_answer_is_a_number_typed_or_in_words(plan, typed, number):
    lines = queue.Queue()
    for text in (typed, "no idea"):
        lines.put(text)
    assert question(plan, plan.steps[5], 1).answer(lines) == number


def test_wrong_answers_cost_points_and_name_their_moment(plan):
    right, wrong = Recalled(1000, "a", 2, 2, "Wipe."), Recalled(2000, "b", 1, 3, "Close.")
    known, unknown = score(plan, [], EnclosureLog(recalled=[right])), score(plan, [], EnclosureLog(recalled=[right, wrong]))
    assert known.total == 100 and unknown.total < 100
    part = next(p for p in unknown.parts if p.name == RECALL)
    assert part.measured == "1 in 2 questions" and part.moments[0].at_ms == 2000 and part.moments[0].about == "b"
    assert RECALL not in [p.name for p in score(plan, [], EnclosureLog()).parts]


def test_recall_by_keys_asks_before_each_step_and_keeps_the_answers(tmp_path):
    found = CliRunner().invoke(
        practice, ["gb-2-end-of-day", "--level", "recall", "--records", str(tmp_path / "r"), "--seed", "3", "--factor", "1",
                   "--evidence-folder", str(tmp_path / "e")], input="1\n" + "quit\n",
    )
    assert "What comes next?" in found.output and ("Right." in found.output or "No: it is" in found.output)
    assert found.output.index("What comes next?") < found.output.index("Right." if "Right." in found.output else "No: it is")


def evidence(folder, ready):
    """Rows whose records aren't there count for nothing; so the demands that need records stay open."""
    file = TraineeFile(folder / "kit")
    file.add(Session("gone", "0" * 64, "2026-02-02", "gb-2-light-clean", "assessment", "complete", 98.0, 0))
    file.add_tracer(Tracer("Observer", date.today().isoformat(), True))
    return file


def test_evidence_is_printed_and_rows_without_their_record_are_not(tmp_path, ready):
    evidence(tmp_path, ready)
    found = CliRunner().invoke(practice, ["--evidence", "Kit", "--evidence-folder", str(tmp_path), "--json"])
    data = json.loads(found.stdout)
    assert data["sessions"] == [] and data["tracers"][0]["observer"] == "Observer" and not data["ready"]
    shown = CliRunner().invoke(practice, ["--evidence", "Kit", "--evidence-folder", str(tmp_path)])
    assert "seen by Observer" in shown.output and "missing" in shown.output and "not ready yet" in shown.output


def test_a_live_run_refuses_whoever_has_not_practised(tmp_path, ready):
    evidence(tmp_path, ready)
    with pytest.raises(RefusedError, match="Missing: 3 assessments in a row"):
        require_practice("Kit", "default", tmp_path)
    rule = tmp_path / "rule.yaml"
    rule.write_text("id: x\ntitle: X\nassessments_in_a_row: none\n")
    with pytest.raises(SiteFileError, match="rule.yaml:3"):
        require_practice("Kit", str(rule), tmp_path)
    found = CliRunner().invoke(run, [
        "gb-2-light-clean", "--technician", "Kit", "--require-practice", "default", "--evidence-folder", str(tmp_path), "--keys",
        "--no-voice-in", "--records", str(tmp_path / "r")])
    assert isinstance(found.exception, RefusedError) and not (tmp_path / "r").exists()
