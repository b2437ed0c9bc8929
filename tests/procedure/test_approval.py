"""Approval: needs check and proof, says what changed, holds for exactly one content."""

from __future__ import annotations

import json
import re
import shutil

import pytest
from click.testing import CliRunner

from assistant.errors import FindingsError, RefusedError, UsageError
from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import load_procedure
from assistant.procedure.loading.source import default_folder
from assistant.procedure.paper.changes import changes, plan_values
from assistant.record.signing.keys import Cost, KeyStore
from assistant.station.approving import approve_cli
from assistant.station.approving.approvals import is_approved
from assistant.station.approving.approve_cli import approve
from tests.procedure.mutations import BAG, BAG_OUT, LIGHT, Drop, Swap

WORDS = "four unrelated plain words"


@pytest.fixture
def site(tmp_path, monkeypatch):
    """A copy of the shipped files, a key store with one key, and a proof that always holds (it has tests of its own)."""
    shutil.copytree(default_folder(), tmp_path / "procedures")
    KeyStore(tmp_path / "keys", cost=Cost(1, 8, 1)).create_key(
        "Ada Example", WORDS, since="2020-01-01T00:00:00+00:00"
    )
    monkeypatch.setattr(approve_cli, "proof_line", lambda loaded: "9 states, every property holds")
    return tmp_path


def _approve(site, *more: str, words: str = WORDS, name: str = "Ada Example"):
    args = [
        "gb-2-light-clean",
        "--folder",
        str(site / "procedures"),
        "--approvals",
        str(site / "approvals"),
        "--keys-folder",
        str(site / "keys"),
        *more,
    ]
    if "--status" not in more:
        args += ["--by", name, "--yes", "--passphrase-stdin"]
    return CliRunner().invoke(
        approve, args, input=words + "\n", standalone_mode=False, catch_exceptions=False
    )


def _plan(site):
    return compile_plan(load_procedure("gb-2-light-clean", site / "procedures"))


def test_an_approval_stands_for_the_content_it_signed(site):
    assert _approve(site, "--status").return_value == 1
    assert _approve(site, "--json").return_value == 0
    held = is_approved(_plan(site), site / "approvals", site / "keys")
    assert held is not None and held.statement.name == "Ada Example"
    assert _approve(site, "--status").return_value == 0


def test_a_changed_file_is_no_longer_approved_and_a_changed_comment_is(site):
    _approve(site)
    path = site / "procedures" / LIGHT
    path.write_text("# a remark\n" + path.read_text())
    assert is_approved(_plan(site), site / "approvals", site / "keys") is not None
    Swap(BAG, "Wipe both gauntlets", "Wipe the gauntlets").apply(site / "procedures")
    assert is_approved(_plan(site), site / "approvals", site / "keys") is None


def test_what_changed_is_said_before_signing(site):
    _approve(site)
    Drop(BAG, "wipe_gauntlets").apply(site / "procedures")
    Swap(LIGHT, '\nrevision: "', '\nrevision: "1').apply(site / "procedures")
    result = _approve(site, "--json")
    said = json.loads(result.stdout)["changes"]
    assert any(re.fullmatch(r"The revision was (\d+) and is 1\1\.", line) for line in said)
    assert "Step bagged.wipe_gauntlets was taken out: Wipe both gauntlets from cuff to fingers." in said
    assert all(line in result.stderr for line in said)


def test_findings_keep_it_from_being_signed(site):
    Drop(BAG_OUT, "close_outer").apply(site / "procedures")
    with pytest.raises(FindingsError, match="check finds"):
        _approve(site)
    assert not (site / "approvals").exists()


def test_a_refuted_proof_keeps_it_from_being_signed(site, monkeypatch):
    def refuted(loaded):
        raise FindingsError("The proof refutes a property, so nothing is signed.")

    monkeypatch.setattr(approve_cli, "proof_line", refuted)
    with pytest.raises(FindingsError):
        _approve(site)
    assert not (site / "approvals").exists()


def test_a_wrong_passphrase_or_name_signs_nothing(site):
    for words, name in (("wrong words entirely", "Ada Example"), (WORDS, "Nobody Known")):
        with pytest.raises(RefusedError):
            _approve(site, words=words, name=name)
    assert is_approved(_plan(site), site / "approvals", site / "keys") is None


@pytest.mark.parametrize("field", ["sha256", "name", "at", "meaning", "proof", "key_id"])
def test_a_touched_up_approval_does_not_stand(site, field):
    _approve(site)
    path = site / "approvals" / "gb-2-light-clean.approvals.json"
    held = json.loads(path.read_text())
    plan = _plan(site)
    held["approvals"][0]["statement"][field] = (
        "0" * 64 if field == "sha256" else held["approvals"][0]["statement"][field] + "x"
    )
    path.write_text(json.dumps(held))
    try:
        assert is_approved(plan, site / "approvals", site / "keys") is None
    except ValueError:
        assert field == "at"


def test_a_withdrawn_key_vouches_for_what_it_signed_before_and_for_nothing_after(site):
    _approve(site)
    KeyStore(site / "keys").withdraw_key("Ada Example", "2019-01-01T00:00:00+00:00")
    assert is_approved(_plan(site), site / "approvals", site / "keys") is None


def test_a_damaged_file_of_approvals_is_said(site):
    _approve(site)
    (site / "approvals" / "gb-2-light-clean.approvals.json").write_text("{")
    with pytest.raises(RefusedError, match="can't be read"):
        is_approved(_plan(site), site / "approvals", site / "keys")


def test_nobody_named_is_a_usage_error(site):
    with pytest.raises(UsageError):
        CliRunner().invoke(approve, ["gb-2-light-clean"], standalone_mode=False, catch_exceptions=False)


def test_changes_in_plain_language(site):
    before = plan_values(_plan(site))
    folder = site / "procedures"
    Swap("agents/northmere.yaml", "contact: 2 min", "contact: 4 min").apply(folder)
    Swap("enclosures/gb-2.yaml", "max_open: 2 min", "max_open: 3 min").apply(folder)
    Swap(
        LIGHT,
        "  - en: Spray nothing inside this box. Overlap every stroke.\n"
        "    ko: 이 장비 안에서는 아무것도 뿌리지 마세요. 닦을 때마다 겹쳐 닦으세요.\n",
    ).apply(folder)
    said = changes(before, plan_values(_plan(site)))
    assert "A caution was taken out: Spray nothing inside this box. Overlap every stroke." in said
    assert "Step disinfect.back_wall: the contact time was 2 minutes and is 4 minutes." in said
    assert "Opening inner_door: how long it may be open was 2 minutes and is 3 minutes." in said
    assert changes(before, before) == []


def test_a_moved_step_is_said_once(site):
    plan = _plan(site)
    before, after = plan_values(plan), plan_values(plan)
    after["steps"] = [*after["steps"][1:5], after["steps"][0], *after["steps"][5:]]
    said = changes(before, after)
    assert len(said) == 1 and "was moved" in said[0] and "pressure_before" in said[0]


@pytest.mark.full
def test_the_real_prover_gives_the_line_that_is_signed():
    said = approve_cli.proof_line(load_procedure("gb-2-start-of-day"))
    assert "every property holds" in said and int(said.split()[0]) > 1000


@pytest.mark.full
def test_the_real_prover_refuses_a_procedure_that_can_open_two_doors(tmp_path):
    shutil.copytree(default_folder(), tmp_path / "procedures")
    folder = tmp_path / "procedures"
    Drop("parts/load-airlock.yaml", "close_outer").apply(folder)
    with pytest.raises(FindingsError):
        approve_cli.proof_line(load_procedure("gb-2-end-of-day", folder))
