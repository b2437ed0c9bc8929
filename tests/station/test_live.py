"""A live run from the command's function on, with devices that are none: found again after a break, refused where it
must be, sounded where the disk fails."""

from __future__ import annotations

import json
import os
from dataclasses import replace
from pathlib import Path

import pytest

from assistant.account.reading import load_session
from assistant.account.rederiving import rederive
from assistant.errors import (
    EXIT_NOT_COMPLETE,
    RecordError,
    RefusedError,
    SoundDeviceError,
    StorageError,
    UsageError,
)
from assistant.record.storage.locks import WriterLock
from assistant.record.verify import verify
from assistant.speaking.chimes import chime
from assistant.station.live import session as live
from assistant.station.live.session import LiveChoices, run_live
from assistant.station.live.setup import prepare, shipped_folder
from assistant.station.loop.recovering import find_open
from tests.record.support import FaultyFiles
from tests.station.live_fakes import Killed, Stage

PROCEDURE = "gb-2-light-clean"
AN_HOUR_LATER = "2026-01-05T10:30:00.000+00:00"


@pytest.fixture
def approved(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(live, "approval_of", lambda loaded, root: "A. Supervisor at 2026-01-01T00:00:00Z, key 1")


def _run(stage: Stage, root: Path, monkeypatch: pytest.MonkeyPatch, **chosen) -> int:
    monkeypatch.setattr(live, "open_screen", stage.open_screen)
    given = {"technician": "Ada", "records": root, "folder": shipped_folder(), "with_keys": True, "no_voice_in": True,
                 "options": (("drugs_differ", False), ("final_alcohol", False))}
    return run_live(PROCEDURE, LiveChoices(**{**given, **chosen}), stage.devices())


def _lines(root: Path) -> list[dict]:
    return [json.loads(raw) for path in sorted(root.glob("*/*/record.jsonl")) for raw in path.read_bytes().splitlines()]


def _spoken(root: Path) -> list[str]:
    return [line["data"]["text"] for line in _lines(root) if line["kind"] == "line_spoken"]


def test_a_session_by_keys_alone_runs_to_a_complete_and_sealed_record(tmp_path, monkeypatch, approved) -> None:
    assert _run(Stage(), tmp_path, monkeypatch) == 0
    folder = next(tmp_path.glob("*/*/record.jsonl")).parent
    assert verify(folder).complete
    opened = load_session(folder)
    assert opened.record.kind == "live" and rederive(opened) == []
    assert opened.record.header["procedure"]["approval"].startswith("A. Supervisor")


def test_after_a_break_the_open_session_goes_on_and_nothing_unwatched_counts(tmp_path, monkeypatch, approved, capsys):
    with pytest.raises(Killed):
        _run(Stage(cut_when=lambda state: len(state.contacts) > 1), tmp_path, monkeypatch)
    before = _lines(tmp_path)
    wet = {x["data"]["surface"] for x in before if x["kind"] == "contact_started"} - {
        x["data"]["surface"] for x in before if x["kind"] == "contact_completed"}
    assert len(wet) > 1
    assert _run(Stage(seed=2, wall=AN_HOUR_LATER), tmp_path, monkeypatch) == 0
    assert "An open session was found" in capsys.readouterr().err
    assert len(list(tmp_path.glob("*/*/record.jsonl"))) == 1
    after = _lines(tmp_path)
    assert after[: len(before)] == before
    recovered = next(x for x in after if x["kind"] == "recovered")
    assert recovered["data"]["unwatched_ms"] >= 5_400_000 and recovered["data"]["questions"]
    assert any("I was off for" in text for text in _spoken(tmp_path))
    assert sum(x["kind"] == "recovery_answered" for x in after) == len(recovered["data"]["questions"])
    again = {x["data"]["surface"] for x in after[len(before):] if x["kind"] == "contact_started"}
    assert wet <= again
    folder = next(tmp_path.glob("*/*/record.jsonl")).parent
    assert verify(folder).complete and rederive(load_session(folder)) == []


def test_a_second_person_who_starts_again_is_signed_in(tmp_path, monkeypatch, approved) -> None:
    with pytest.raises(Killed):
        _run(Stage(cut_ms=200_000), tmp_path, monkeypatch)
    _run(Stage(seed=3, wall=AN_HOUR_LATER, stop_ms=6_000_000), tmp_path, monkeypatch, technician="Ben")
    assert [x["data"]["person"] for x in _lines(tmp_path) if x["kind"] == "person_changed"] == ["Ben"]


def test_a_crash_before_the_site_files_were_copied_leaves_no_dead_end(tmp_path, monkeypatch, approved) -> None:
    monkeypatch.setattr(live, "copy_site", lambda *a: (_ for _ in ()).throw(Killed()))
    with pytest.raises(Killed):
        _run(Stage(), tmp_path, monkeypatch)
    assert [x["kind"] for x in _lines(tmp_path)] == ["record_opened"]
    assert _run(Stage(wall=AN_HOUR_LATER), tmp_path, monkeypatch) == 0
    assert "recovered" not in {x["kind"] for x in _lines(tmp_path)}  # nothing had begun, so nothing was missed


def test_a_crash_between_verdict_and_seal_is_sealed_by_the_next_start(tmp_path, monkeypatch, approved, capsys) -> None:
    plain = live._seal
    monkeypatch.setattr(live, "_seal", lambda *a: (_ for _ in ()).throw(Killed()))
    with pytest.raises(Killed):
        _run(Stage(), tmp_path, monkeypatch)
    monkeypatch.setattr(live, "_seal", plain)
    assert _run(Stage(wall=AN_HOUR_LATER), tmp_path, monkeypatch) == 0
    assert "only the seal was missing" in capsys.readouterr().err
    assert verify(next(tmp_path.glob("*/*/record.jsonl")).parent).complete


def test_a_start_that_died_before_it_told_counts_towards_the_time_nobody_watched(tmp_path, monkeypatch, approved):
    with pytest.raises(Killed):
        _run(Stage(cut_ms=200_000), tmp_path, monkeypatch)
    monkeypatch.setattr(live, "prepare_lines", lambda *a: (_ for _ in ()).throw(Killed()))
    with pytest.raises(Killed):
        _run(Stage(wall="2026-01-05T10:29:59.000+00:00"), tmp_path, monkeypatch)
    monkeypatch.setattr(live, "prepare_lines", lambda *a: None)
    _run(Stage(wall=AN_HOUR_LATER, stop_ms=6_000_000), tmp_path, monkeypatch)
    recovered = [x for x in _lines(tmp_path) if x["kind"] == "recovered"]
    assert len(recovered) == 1 and recovered[0]["data"]["unwatched_ms"] >= 5_400_000


def test_a_session_of_another_procedure_must_be_ended_first(tmp_path, monkeypatch, approved) -> None:
    with pytest.raises(Killed):
        _run(Stage(cut_ms=200_000), tmp_path, monkeypatch)
    plan = prepare(PROCEDURE, folder=shipped_folder()).plan
    with pytest.raises(RefusedError, match="another procedure is open"):
        find_open(tmp_path, replace(plan, procedure="another", sha256="0" * 64))


def test_a_changed_procedure_goes_on_as_it_was_begun(tmp_path, monkeypatch, approved) -> None:
    with pytest.raises(Killed):
        _run(Stage(cut_ms=200_000), tmp_path, monkeypatch)
    plan = prepare(PROCEDURE, folder=shipped_folder()).plan
    assert find_open(tmp_path, replace(plan, sha256="0" * 64)) is not None


def test_a_sealed_or_practice_record_is_never_taken_for_open_live_work(tmp_path, monkeypatch, approved) -> None:
    _run(Stage(stop_ms=60_000), tmp_path, monkeypatch)
    plan = prepare(PROCEDURE, folder=shipped_folder()).plan
    assert find_open(tmp_path, plan) is None
    assert find_open(tmp_path, plan, "practice") is None


def test_an_unapproved_procedure_is_refused_and_leaves_no_record(tmp_path, monkeypatch) -> None:
    monkeypatch.setenv("GAUNTLET_APPROVALS", str(tmp_path / "approvals"))
    monkeypatch.setenv("GAUNTLET_KEYS", str(tmp_path / "keys"))
    with pytest.raises(RefusedError, match="isn't approved"):
        _run(Stage(), tmp_path / "records", monkeypatch)
    assert _lines(tmp_path / "records") == []


def test_without_microphone_and_keys_there_is_no_way_in(tmp_path, monkeypatch, approved) -> None:
    with pytest.raises(UsageError, match="must be keys"):
        _run(Stage(), tmp_path, monkeypatch, with_keys=False)


def test_no_headset_is_told_before_anything_is_recorded(tmp_path, monkeypatch, approved) -> None:
    stage = Stage()
    gone = SoundDeviceError("The sound output can't be opened.", where="default device")
    devices = replace(stage.devices(), sink=lambda name: (_ for _ in ()).throw(gone))
    with pytest.raises(SoundDeviceError):
        run_live(PROCEDURE, LiveChoices(technician="Ada", records=tmp_path, folder=shipped_folder(), with_keys=True,
                                        no_voice_in=True), devices)
    assert _lines(tmp_path) == []


def test_a_safe_stop_has_an_exit_code_of_its_own(tmp_path, monkeypatch, approved) -> None:
    assert _run(Stage(stop_ms=60_000), tmp_path, monkeypatch) == EXIT_NOT_COMPLETE == 12


def test_another_session_on_the_enclosure_is_refused_by_name(tmp_path, monkeypatch, approved) -> None:
    lock = WriterLock(tmp_path / "gb-2", "Somebody Else", what="enclosure")
    try:
        with pytest.raises(RecordError, match="Somebody Else"):
            _run(Stage(), tmp_path, monkeypatch)
    finally:
        lock.release()


class _FullForTheRecord(FaultyFiles):
    """The disk is full for the first batch of record lines after `after` writes; what isn't the record goes on."""

    def __init__(self, after: int, part: int) -> None:
        super().__init__(part=part)
        self.after, self.hit = after, False

    def write(self, fd: int, data: bytes) -> int:
        self.count += 1
        if self.count > self.after and not self.hit and b'"kind":"' in data and b'"prev":"' in data:
            self.hit = True
            if self.part:
                os.write(fd, data[: self.part])
            self._fail()
        return os.write(fd, data)


@pytest.mark.parametrize("part", [0, 37])
def test_a_disk_that_fills_up_is_sounded_and_the_record_stays_whole(tmp_path, monkeypatch, approved, part: int) -> None:
    stage = Stage(files=_FullForTheRecord(after=60, part=part))
    with pytest.raises(StorageError) as caught:
        _run(stage, tmp_path, monkeypatch)
    assert caught.value.exit_code == 6
    assert stage.sink.played[-2] == len(chime("alarm"))  # then the line that was made beforehand
    folder = next(tmp_path.glob("*/*/record.jsonl")).parent
    opened = load_session(folder)
    assert len(opened.facts) > 20 and rederive(opened) == []
    # With room again, the same command goes on where it stood.
    assert _run(Stage(seed=4, wall=AN_HOUR_LATER), tmp_path, monkeypatch) == 0
    assert verify(folder).complete
