"""Hours of sessions with sound can be stopped, gone on with and split over machines; the figures are of all of them."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from assistant.errors import SiteFileError, UsageError
from assistant.practice.operator.persona import load_persona
from tests.bench.practice import soak_sound
from tests.bench.practice.soak_cli import soak
from tests.bench.practice.soak_sound import SoundSession, SoundSoak, figures, soak_with_sound
from tests.bench.practice.sound_journal import Journal

WHAT = SoundSoak("gb-2-light-clean", (load_persona("chatty"), load_persona("careful")), 3)


def row(name, hours=0.25, **more):
    return {
        "name": name, "procedure": "p", "plan_sha256": "0", "rules": 3, "engine": "e", "by_ear": False, "counts": {"completed": 1},
        "simulated_ms": round(hours * 3_600_000), "taken_s": 90.0, "nobody": [], **more,
    }


@pytest.fixture
def ran(monkeypatch):
    names = []
    monkeypatch.setattr(SoundSession, "run", lambda self: names.append(self.name) or row(self.name))
    return names


def test_shares_of_the_sessions_do_not_overlap_and_leave_none_out():
    whole = [WHAT.session(n).name for n in range(12)]
    thirds = [SoundSoak(WHAT.procedure, WHAT.personas, WHAT.seed, False, (k, 3)) for k in (1, 2, 3)]
    shared = [share.session(n).name for share in thirds for n in range(4)]
    assert sorted(shared) == sorted(whole) and len(set(whole)) == 12


def test_hours_are_run_until_they_are_full_and_gone_on_with_where_they_stopped(tmp_path, ran):
    path = tmp_path / "sound.jsonl"
    found = soak_with_sound(WHAT, 0, hours=1.0, journal=Journal([path]))
    assert found["hours"] == 1.0 and len(ran) == 4
    more = soak_with_sound(WHAT, 0, hours=1.5, journal=Journal([path]))
    assert more["sessions"] == 6 and len(ran) == len(set(ran)) == 6
    assert soak_with_sound(WHAT, 5, journal=Journal([path]))["sessions"] == 6 and len(ran) == 6


def test_journals_of_several_machines_add_up(tmp_path, ran):
    files = [tmp_path / name for name in ("a.jsonl", "b.jsonl")]
    for k, path in enumerate(files, 1):
        soak_with_sound(SoundSoak(WHAT.procedure, WHAT.personas, 3, False, (k, 2)), 3, journal=Journal([path]))
    assert soak_with_sound(WHAT, 0, journal=Journal(files))["sessions"] == 6 == len(set(ran))


def test_every_word_that_nobody_said_is_listed_and_bounds_the_rate():
    told = {"at_ms": 5, "word": "confirm", "said": "confirm"}
    found = figures([row("a", 10.0), row("b", 10.0, counts={"confirmed_by_nobody": 1}, nobody=[told])])
    assert found["nobody"] == [{"name": "b", **told}] and found["hours"] == 20.0
    # one-sided 95 % limit for 1 event: chi-squared(0.95, 4) / 2 = 4.744 (standard tables)
    assert abs(found["confirmed_by_nobody_per_h_95"] - 4.744 / 20) < 0.001


@pytest.mark.parametrize(("text", "said"), [
    ("{}\n", ":1"), (json.dumps(row("a")) + "\nnot json\n", ":2"),
    (json.dumps(row("a")) + "\n" + json.dumps(row("b", plan_sha256="1")) + "\n", ":2"),
])
def test_a_journal_that_is_broken_or_of_another_procedure_is_named_with_its_line(tmp_path, text, said):
    path = tmp_path / "sound.jsonl"
    path.write_text(text)
    with pytest.raises(SiteFileError) as caught:
        Journal([path])
    assert caught.value.where == f"{path}{said}" and path.read_text() == text


@pytest.mark.parametrize("part", ["0/2", "3/2", "x", "1/", "1/2/3", "-1/2"])
def test_a_share_that_is_none_is_refused(part):
    found = CliRunner().invoke(soak, ["--sessions", "0", "--sound", "1", "--part", part])
    assert isinstance(found.exception, UsageError)


@pytest.mark.full
def test_a_chatty_session_with_real_sound_confirms_nothing_that_nobody_said(tmp_path):
    found = soak_with_sound(SoundSoak("gb-2-light-clean", (load_persona("chatty"),), "full"), 1)
    assert found["hours"] > 0.1 and found["engine_faults"] == 0 and found["nobody"] == []
    assert soak_sound.poisson_upper(0, found["hours"]) > 0
