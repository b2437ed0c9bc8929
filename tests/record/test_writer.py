"""Writing: one write and one sync per decision, before anything is told; failures told and survivable."""

from __future__ import annotations

import errno
import json
import os
import stat
import tracemalloc
from pathlib import Path

import pytest

from assistant.errors import RecordError, StorageError
from assistant.record.reader import read_record
from assistant.record.recover import recover
from assistant.record.storage.memory_store import MemoryLineStore
from assistant.record.storage.store import SlowStorageError
from assistant.record.verify import verify
from assistant.record.writer import RecordWriter
from tests.bench.record.sessions import QuickFiles
from tests.record.support import HEADER, WALL, FaultyFiles, heard, new_record, spoken


def test_a_decision_is_one_write_and_one_sync_and_both_are_over_when_append_returns(tmp_path: Path):
    files = FaultyFiles()
    writer = new_record(tmp_path, files=files, witness=False)
    files.done.clear()
    writer.append([heard("confirm"), spoken("Next."), spoken("Listen.")], 10, WALL)
    assert files.done == ["write", "sync"]


def test_the_folder_is_synced_after_the_file_is_made(tmp_path: Path):
    files = FaultyFiles()
    new_record(tmp_path, files=files, witness=False)
    made = files.done.index("open", files.done.index("replace"))  # the record's file, after the lock's note
    assert "sync_folder" in files.done[made:] and files.done[-2:] == ["write", "sync"]


def test_the_voice_may_not_speak_when_the_disk_did_not_take_it(tmp_path: Path):
    said: list[str] = []
    files = FaultyFiles()
    writer = new_record(tmp_path, files=files, witness=False)
    for fault in ("write", "sync"):
        files.calls, files.at, files.count = (fault,), 1, 0
        with pytest.raises(StorageError):
            writer.append([spoken("Next.")], 10, WALL)
            said.append("Next.")
        files.at = 0
        writer.close()
        writer = recover(tmp_path / "GB-2" / "20260314T081500Z-s1", wall=WALL, files=files, witness=False)
    assert said == []


def test_short_writes_are_gone_on_with(tmp_path: Path):
    writer = new_record(tmp_path, files=FaultyFiles(short=7), witness=False)
    writer.append([spoken()], 1, WALL)
    assert verify(writer.folder).intact


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EIO])
def test_a_failure_at_any_write_or_sync_loses_no_told_fact_and_recovery_goes_on(tmp_path: Path, number: int):
    """Every call of the whole session fails once, in a session of its own; the next session recovers it."""
    at, failures = 0, 0
    while True:
        at += 1
        root = tmp_path / str(at)
        files = FaultyFiles(
            at,
            number,
            calls=("write", "sync", "sync_folder", "open", "truncate", "replace", "make_folder"),
            part=at % 90,
        )
        told: list[str] = []
        failed = False
        try:
            writer = new_record(root, files=files)
            told.append(writer.head)
            try:
                for t_ms in range(3):
                    told += [ref.sha256 for ref in writer.append([heard("confirm"), spoken()], t_ms, WALL)]
                told.append(writer.seal(9, WALL, verdict="stands").sha256)
            finally:
                writer.close()
        except StorageError as error:
            failed = True
            assert error.exit_code == 6 and error.where
        if files.count < at:
            break  # past the last call: every one has failed once
        failures += 1
        folder = root / "GB-2" / "20260314T081500Z-s1"
        if not failed:  # the witness log was hit, which is a warning, or room that the disk hadn't: then without
            assert writer.warnings or (number == errno.ENOSPC and files.done[files.at_call] == "write")
            assert verify(folder, witness=False).complete
            continue
        if not (folder / "record.jsonl").exists() or not read_record(folder).lines:
            assert told == []
            continue
        before = read_record(folder)
        assert [line.sha256 for line in before.lines][: len(told)] == told
        if before.seal:
            continue
        again = recover(folder, wall=WALL, why="the disk failed")
        again.seal(10, WALL, verdict="stopped")
        assert verify(folder).complete, verify(folder).problems
        assert [line.sha256 for line in read_record(folder).lines][: len(told)] == told
    assert failures > 20


def test_a_disk_that_takes_over_a_second_is_told_although_the_facts_are_on_it(tmp_path: Path):
    moments = iter([0.0, 0.2, 10.0, 11.5, 20.0, 20.1])
    writer = new_record(tmp_path, clock=lambda: next(moments))
    with pytest.raises(SlowStorageError) as slow:
        writer.append([spoken()], 1, WALL)
    assert slow.value.took_s == 1.5 and [ref.seq for ref in slow.value.refs] == [2]
    assert not writer.failed
    writer.append([spoken()], 2, WALL)
    assert len(read_record(writer.folder).lines) == 3


@pytest.mark.parametrize("kind", ["practice", "demo", "script"])
def test_where_nobody_waits_in_gloves_a_slow_disk_is_no_fault(tmp_path: Path, kind: str):
    moments = iter([0.0, 0.2, 10.0, 71.5])
    writer = new_record(tmp_path, kind, clock=lambda: next(moments))
    assert [ref.seq for ref in writer.append([spoken()], 1, WALL)] == [2] and not writer.failed


def test_a_watchdog_sees_the_write_under_way():
    seen: list[float | None] = []

    class Watched(MemoryLineStore):
        def append(self, data: bytes) -> None:
            seen.append(writer.started_at_s)
            super().append(data)

    writer = RecordWriter(Watched(), kind="script", rules=1, clock=lambda: 5.0)
    writer.append([spoken()], 0, WALL)
    assert seen == [5.0] and writer.started_at_s is None


def test_a_bad_fact_among_good_ones_leaves_nothing_behind(tmp_path: Path):
    writer = new_record(tmp_path)
    with pytest.raises(RecordError):
        writer.append([spoken(), {"kind": "Bad", "v": 1, "data": {}}], 1, WALL)
    writer.append([spoken()], 1, WALL)
    assert [line.seq for line in read_record(writer.folder).lines] == [1, 2]


@pytest.mark.parametrize("kind", ["record_sealed", "record_signed", "record_withdrawn"])
def test_closing_lines_cannot_be_slipped_in_as_facts(tmp_path: Path, kind: str):
    with pytest.raises(RecordError, match="sealing and signing"):
        new_record(tmp_path).append([{"kind": kind, "v": 1, "data": {}}], 1, WALL)


def test_time_does_not_run_backwards(tmp_path: Path):
    writer = new_record(tmp_path)
    writer.append([spoken()], 100, WALL)
    with pytest.raises(RecordError, match="backwards"):
        writer.append([spoken()], 99, WALL)


def test_a_sealed_record_takes_no_more_facts(tmp_path: Path):
    writer = new_record(tmp_path)
    writer.seal(1, WALL, verdict="stands")
    with pytest.raises(RecordError, match="sealed"):
        writer.append([spoken()], 2, WALL)


def test_a_record_is_never_written_over(tmp_path: Path):
    new_record(tmp_path).close()
    with pytest.raises(RecordError, match="never written over"):
        new_record(tmp_path)


def test_every_line_says_what_kind_of_record_it_is(tmp_path: Path):
    writer = new_record(tmp_path, "practice")
    writer.append([spoken()], 1, WALL)
    writer.close()
    raw = (writer.folder / "record.jsonl").read_text().splitlines()
    assert [json.loads(line)["record"] for line in raw] == ["practice", "practice"]
    assert json.loads(raw[0])["data"] == HEADER


@pytest.mark.skipif(os.name == "nt", reason="Windows has no owner-only modes; its folders inherit the user's")
def test_files_and_folders_are_their_owners_only(tmp_path: Path):
    old = os.umask(0)
    try:
        root = tmp_path / "records"
        writer = new_record(root)
        writer.append([spoken()], 1, WALL)
        paths = [root, *root.rglob("*")]
        assert len(paths) > 6
        assert {oct(stat.S_IMODE(p.stat().st_mode)) for p in paths} <= {"0o700", "0o600"}
    finally:
        os.umask(old)


def test_a_read_only_place_is_one_clear_message(tmp_path: Path):
    with pytest.raises(StorageError) as caught:
        new_record(tmp_path, files=FaultyFiles(1, errno.EROFS, calls=("make_folder",)))
    assert "Choose a folder on a disk that can be written" in str(caught.value)


def test_writing_holds_no_more_memory_for_a_longer_record(tmp_path: Path):
    writer = new_record(tmp_path, files=QuickFiles(), witness=False)
    kept = []
    for rounds in (200, 2000):
        for t_ms in range(rounds):
            writer.append([spoken("x" * 200)], t_ms + rounds, WALL)
        tracemalloc.start()
        for t_ms in range(rounds):
            writer.append([spoken("x" * 200)], t_ms + 2 * rounds, WALL)
        kept.append(tracemalloc.get_traced_memory()[0])
        tracemalloc.stop()
    assert kept[1] < kept[0] + 20_000
