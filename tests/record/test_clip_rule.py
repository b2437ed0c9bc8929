"""The site says which clips of voices are kept and for how long; what is past its days is deleted, hashes stay."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path

import pytest
from click.testing import CliRunner

from assistant.errors import RecordError
from assistant.record.beside.clip_rule import expire_clips, load_rule, rule_file, save_rule
from assistant.record.beside.clips import ClipPolicy, ClipStore
from assistant.record.commands.clips_cli import command
from assistant.record.reader import read_record
from assistant.record.site_log import SiteLog
from assistant.record.verify import verify
from assistant.station.loop.clips import clear_old_clips, clip_keeper
from tests.record.support import WALL, new_record

PCM = bytes(range(200))


def with_clip(root: Path, session_id: str = "s1", seal: bool = True) -> Path:
    writer = new_record(root, session_id=session_id)
    assert writer.folder
    sha = ClipStore(writer.folder, ClipPolicy("all")).save(PCM, accepted=True)
    writer.append([{"kind": "heard", "v": 1, "data": {"clip_sha256": sha}}], 1, WALL)
    if seal:
        writer.seal(2, WALL, verdict="stands")
    writer.close()
    return writer.folder


def told(root: Path, *argv: str) -> dict:
    done = CliRunner().invoke(command, ["--records", str(root), "--json", *argv], catch_exceptions=False)
    return json.loads(done.stdout)


def test_without_a_rule_refused_ones_are_kept_for_ninety_days(tmp_path: Path):
    assert load_rule(tmp_path) == ClipPolicy("refused", 90)
    assert told(tmp_path) == {"keep": "refused", "days": 90, "rule": "", "clips": 0, "deleted": []}


def test_the_command_sets_what_is_named_and_leaves_the_rest(tmp_path: Path):
    assert told(tmp_path, "--keep", "none")["keep"] == "none"
    assert (told(tmp_path, "--days", "7")["keep"], told(tmp_path)["days"]) == ("none", 7)
    assert told(tmp_path, "--for-ever")["days"] is None
    assert told(tmp_path, "--keep", "all")["days"] is None


@pytest.mark.parametrize(("keep", "kept"), [("all", [1, 1]), ("refused", [0, 1]), ("none", [0, 0])])
def test_a_session_keeps_what_its_site_chose(tmp_path: Path, keep: str, kept: list[int]):
    save_rule(tmp_path, ClipPolicy(keep))  # type: ignore[arg-type]
    keeper = clip_keeper(tmp_path / "gb-2" / "20260314T081500Z-s1")
    assert [len(keeper(PCM, accepted)) > 0 for accepted in (True, False)] == kept


def test_clips_past_their_days_are_deleted_noted_and_the_record_still_holds(tmp_path: Path):
    folder, other = with_clip(tmp_path), with_clip(tmp_path, "open", seal=False)
    rule = ClipPolicy("all", 30)
    assert expire_clips(tmp_path, rule, wall="2026-04-13T09:00:00+01:00") == []
    gone = expire_clips(tmp_path, rule, wall="2026-04-14T09:00:00+01:00")
    sha = read_record(folder).lines[1].data["clip_sha256"]
    assert {session.split("-")[-1]: name for session, name in gone} == {"s1": sha, "open": sha}
    assert not list(folder.glob("clips/*")) and not list(other.glob("clips/*"))
    assert verify(folder).complete
    log = SiteLog(tmp_path).path.read_text()
    assert log.count("clip_deleted") == 2 and "kept 30 days" in log


def test_a_rule_of_no_days_leaves_a_session_alone_that_may_still_be_running(tmp_path: Path):
    folder = with_clip(tmp_path, seal=False)
    soon, later = "2026-03-14T20:00:00+01:00", "2026-03-16T09:00:00+01:00"
    assert expire_clips(tmp_path, ClipPolicy("all", 0), wall=soon) == [] and list(folder.glob("clips/*.flac"))
    assert len(expire_clips(tmp_path, ClipPolicy("all", 0), wall=later)) == 1


def test_a_live_sessions_clip_goes_only_when_the_session_is_over_and_its_record_still_holds(tmp_path: Path):
    """By the way that a live run takes at its end: not while a writer still holds the session, then at once."""
    writer = new_record(tmp_path, "live")
    sha = clip_keeper(writer.folder, ClipPolicy("all"))(PCM, False)
    now = datetime.now().astimezone().isoformat(timespec="milliseconds")
    writer.append([{"kind": "heard", "v": 1, "data": {"clip_sha256": sha, "accepted": False}}], 1, now)
    save_rule(tmp_path, ClipPolicy("all", 0))
    assert clear_old_clips(tmp_path) == "" and ClipStore(writer.folder, ClipPolicy()).path(sha)
    writer.seal(2, now, verdict="stands")
    assert clear_old_clips(tmp_path) == "" and not list(writer.folder.glob("clips/*"))
    assert verify(writer.folder).complete and read_record(writer.folder).lines[1].data["clip_sha256"] == sha
    notes = [json.loads(line) for line in SiteLog(tmp_path).path.read_text().splitlines()]
    assert [(n["head"], n["note"]) for n in notes if n["event"] == "clip_deleted"] == [(sha, "kept 0 days")]


def test_for_ever_deletes_nothing(tmp_path: Path):
    folder = with_clip(tmp_path)
    assert expire_clips(tmp_path, ClipPolicy("all", None), wall="2099-01-01T00:00:00Z") == []
    assert list(folder.glob("clips/*.flac"))


def test_the_command_deletes_on_demand_and_says_how_many(tmp_path: Path):
    folder = with_clip(tmp_path)
    save_rule(tmp_path, ClipPolicy("refused", 1))
    found = told(tmp_path, "--expire")
    assert (found["clips"], len(found["deleted"])) == (0, 1) and not list(folder.glob("clips/*.flac"))


def test_an_odd_folder_or_a_damaged_record_stops_nobody(tmp_path: Path):
    folder = with_clip(tmp_path)
    for odd in ("99999999T999999Z-x", "20200101T000000Z-empty"):
        (folder.parent / odd / "clips").mkdir(parents=True)
        (folder.parent / odd / "clips" / "a.flac").write_bytes(b"x")
        (folder.parent / odd / "record.jsonl").write_bytes(b"")
    assert len(expire_clips(tmp_path, ClipPolicy("all", 1), wall="2027-01-01T00:00:00Z")) == 1


@pytest.mark.parametrize(
    "held", [b"", b"[]", b"{}", b'{"keep":"some","days":1}', b'{"keep":"all","days":true}', b"\xff", b"[" * 99_999],
)  # fmt: skip
def test_a_rule_that_cant_be_read_is_refused_and_never_guessed(tmp_path: Path, held: bytes):
    rule_file(tmp_path).parent.mkdir()
    rule_file(tmp_path).write_bytes(held)
    with pytest.raises(RecordError, match="rule for clips can't be read"):
        load_rule(tmp_path)
    assert told(tmp_path, "--keep", "none", "--days", "0")["keep"] == "none"  # given whole, it mends it
