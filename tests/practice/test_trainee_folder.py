"""Another trainee, another folder; what an older version kept is found where it is one person's."""

from __future__ import annotations

import json
from urllib.parse import unquote

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from assistant.errors import UsageError
from assistant.hearing.people.old_profile import old_name
from assistant.practice.evidence.signoff import Session, Tracer, TraineeFile, record_digest
from assistant.practice.practice_cli import practice
from assistant.practice.trainee.folder import folded, folder_name, shared_folder, trainee_folder

NAMES = st.text(min_size=1, max_size=16).filter(lambda text: any(c.isalnum() for c in folded(text)))


@given(NAMES)
def test_a_name_is_read_off_its_folder_again_by_the_standard_library(name):
    # RFC 3986, percent-encoding, as urllib.parse.unquote undoes it: what can be undone never falls together
    try:
        folder = folder_name(name)
    except UsageError:
        assert len(name.encode()) * 3 > 200
        return
    assert unquote(folder.replace("=", "%")) == folded(name)
    assert folder.isascii() and not set(folder) & set('/\\:*?"<>|-%') and folder[0] != "." and folder[-1] != "."


@pytest.mark.parametrize("other", ["Anne Marie", "anne_marie", "anne.marie", "anne'marie", "anne/marie", "annemarie", "anne--marie", "anne=2dmarie"])
def test_names_that_differ_in_punctuation_have_folders_of_their_own(other, tmp_path):
    assert trainee_folder(tmp_path, other) != trainee_folder(tmp_path, "anne-marie")


def test_case_and_spacing_make_no_other_person(tmp_path):
    assert trainee_folder(tmp_path, " Anne  MARIE ") == trainee_folder(tmp_path, "anne marie")
    assert folder_name("Jos\u00e9") == folder_name("Jose\u0301")  # one letter, written in two ways (Unicode, NFC)


@pytest.mark.parametrize("name", ["", "  ", "--", "..", "/", "x" * 201])
def test_what_can_be_no_folder_is_refused(name, tmp_path):
    with pytest.raises(UsageError, match="name"):
        trainee_folder(tmp_path, name)


@pytest.mark.parametrize("name", ["con", "NUL", "com1", ".hidden", "..", "../up"])
def test_no_name_leads_elsewhere_or_to_a_device(name, tmp_path):
    if any(c.isalnum() for c in name):
        found = trainee_folder(tmp_path, name)
        assert found.parent == tmp_path and found.name.lower() not in ("con", "nul", "com1") and found.name[0] != "."


def booked(root, folder, *technicians):
    """An older folder with one practice record of each."""
    file = TraineeFile(root / folder)
    for number, name in enumerate(technicians):
        record = root / f"record-{folder}-{number}"
        record.mkdir(parents=True)
        (record / "record.jsonl").write_text(json.dumps({"record": "practice", "data": {"technician": name}}) + "\n", encoding="utf-8")
        file.add(Session(str(record), record_digest(record), "2026-03-01", "gb-2-light-clean", "assessment", "complete", 93, 0))
    return file.folder


def test_an_older_folder_is_gone_on_with_by_the_one_its_records_name(tmp_path):
    old = booked(tmp_path, old_name("Anne-Marie"), "Anne-Marie", "anne-marie")
    assert trainee_folder(tmp_path, "anne-MARIE") == old
    assert trainee_folder(tmp_path, "Anne Marie") == tmp_path / folder_name("Anne Marie") != old
    assert shared_folder(tmp_path, "Anne-Marie") is None


def test_an_older_folder_of_two_people_is_nobodys_and_both_are_told(tmp_path):
    old = booked(tmp_path, "anne-marie", "Anne-Marie", "Anne Marie")
    for name in ("Anne-Marie", "Anne Marie"):
        assert trainee_folder(tmp_path, name) != old and shared_folder(tmp_path, name) == old
        told = CliRunner().invoke(practice, ["--evidence", name, "--evidence-folder", str(tmp_path)])
        assert str(old) in told.output and "counts for nobody" in told.output and "not ready" in told.output
    assert shared_folder(tmp_path, "Anne.Marie") is None


def test_an_older_folder_without_a_record_that_names_anybody_is_not_taken_over(tmp_path):
    TraineeFile(tmp_path / "anne-marie").add_tracer(Tracer("Ira Quill", "2026-03-01", True))
    assert trainee_folder(tmp_path, "Anne-Marie").name == "anne=2Dmarie"


def test_two_trainees_evidence_stays_apart_from_practice_to_evidence(tmp_path):
    for name in ("Anne-Marie", "Anne Marie"):
        CliRunner().invoke(practice, ["--trainee", name, "--tracer", "Ira Quill", "passed", "--evidence-folder", str(tmp_path)])
    seen = [json.loads(CliRunner().invoke(practice, [
        "--evidence", name, "--evidence-folder", str(tmp_path), "--json"]).stdout)["tracers"] for name in ("Anne-Marie", "Anne Marie")]
    assert [len(one) for one in seen] == [1, 1]
