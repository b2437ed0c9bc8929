"""Whoever signs and whoever is let in are held to one rule."""

from __future__ import annotations

import pytest
from click.testing import CliRunner

from assistant.errors import RefusedError, SiteFileError, UsageError
from assistant.practice.evidence.signoff import load_rule
from assistant.practice.evidence.site_rule import FILE, site_rule
from assistant.practice.practice_cli import practice
from assistant.review.people.signoff_cli import command as signoff
from assistant.review.review_cli import review
from assistant.station.live.signed_off import require_sign_off

OURS = "id: ours\ntitle: Ours\nassessments_in_a_row: 1\ntracer_wipe: no\n"
OTHER = OURS.replace("row: 1", "row: 2")


@pytest.fixture
def site(tmp_path):
    """(folder of evidence with the site's rule in it, a file with another rule)."""
    folder, other = tmp_path / "evidence", tmp_path / "other.yaml"
    folder.mkdir()
    (folder / FILE).write_text(OURS)
    other.write_text(OTHER)
    return folder, other


def test_the_rule_beside_the_evidence_goes_before_the_one_that_comes_with_the_program(site, tmp_path):
    folder, other = site
    assert site_rule(folder) == load_rule(folder / FILE) != load_rule()
    assert site_rule(tmp_path / "none") == load_rule() and site_rule(tmp_path / "none", other) == load_rule(other)


def test_a_file_that_asks_for_the_same_is_no_other_rule(site):
    folder, other = site
    other.write_text("# ours, copied\n" + OURS)
    assert site_rule(folder, other).sha256 == site_rule(folder).sha256


def test_another_rule_is_refused_by_every_command_that_takes_one(site, tmp_path):
    folder, other = site
    where = ["--evidence-folder", str(folder)]
    asked = [
        (practice, ["--ready", "--trainee", "Kit", "--rule", str(other), *where]),
        (practice, ["--evidence", "Kit", "--rule", str(other), *where]),
        (review, ["--practice-rule", str(other), *where, "--check", "--records", str(tmp_path / "r"), "--home", str(tmp_path / "h")]),
        (signoff, ["show", "Kit", "--rule", str(other), *where]),
    ]
    for command, words in asked:
        found = CliRunner().invoke(command, words).exception
        assert isinstance(found, UsageError) and str(folder / FILE) in found.where and str(other) in found.what, words
    with pytest.raises(UsageError, match="something else than the site's rule"):
        require_sign_off("Kit", "gb-2-light-clean", str(other), evidence=folder, home=tmp_path / "h")


def test_live_work_asks_by_default_for_what_the_sites_rule_asks(site, tmp_path):
    folder, _ = site
    with pytest.raises(RefusedError, match="Missing: 1 assessments in a row"):  # not the three of the shipped rule
        require_sign_off("Kit", "gb-2-light-clean", "default", evidence=folder, home=tmp_path / "h")


def test_a_broken_site_rule_is_named_with_its_line_before_anything_is_served(site, tmp_path):
    folder, _ = site
    (folder / FILE).write_text(OURS.replace("row: 1", "row: soon"))
    found = CliRunner().invoke(review, ["--check", "--evidence-folder", str(folder), "--records", str(tmp_path / "r"), "--home", str(tmp_path / "h")])
    assert isinstance(found.exception, SiteFileError) and found.exception.where.endswith(f"{FILE}:3")
