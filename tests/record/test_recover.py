"""Recovery: torn at every byte, tails kept, and no tampering tidied away."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from assistant.errors import RecordError, StorageError
from assistant.record.reader import read_record, read_store
from assistant.record.recover import recover, recover_store
from assistant.record.storage.memory_store import MemoryLineStore
from assistant.record.verify import verify, verify_stream
from assistant.record.writer import RecordWriter
from tests.record.support import WALL, FaultyFiles, heard, new_record, sealed_record, spoken


def test_a_write_torn_at_every_byte_of_the_last_decision_is_set_aside_and_gone_on_from():
    store = MemoryLineStore()
    writer = RecordWriter(store, kind="script", rules=1)
    writer.append([spoken("first")], 0, WALL)
    writer.append([spoken("second")], 1, WALL)
    whole = store.stream().read()
    writer.append([heard("confirm"), spoken("Grüß die Scheibe")], 2, WALL)
    everything = store.stream().read()
    first_end = everything.index(b"\n", len(whole)) + 1
    for cut in range(len(whole), len(everything)):
        torn = MemoryLineStore(everything[:cut])
        kept = everything[:first_end] if cut >= first_end else whole
        record = read_store(torn)
        assert record.ending.how == ("end_of_file" if cut in (len(whole), first_end) else "torn")
        recover_store(torn, wall=WALL, why="power").append([spoken("on")], 3, WALL)
        after = torn.stream().read()
        assert after.startswith(kept)
        assert verify_stream(torn.stream()).intact
        assert b"".join(torn.asides().values()) == everything[len(kept) : cut]
        note = read_store(torn).lines[-2].data
        assert (note["ended"], note["lines_kept"]) == (record.ending.how, kept.count(b"\n"))
        assert [item["bytes"] for item in note["set_aside"]] == ([cut - len(kept)] if cut > len(kept) else [])


@pytest.mark.parametrize("tail", [b"\0" * 40 + b"\n", b'{"half\0\0more', b'{"half', b"\xff\xfe", b"\n"])
def test_what_a_power_cut_leaves_is_set_aside_too(tmp_path: Path, tail: bytes):
    writer = new_record(tmp_path)
    writer.append([spoken()], 1, WALL)
    writer.close()
    path = writer.folder / "record.jsonl"
    with path.open("ab") as file:
        file.write(tail)
    recover(writer.folder, wall=WALL).close()
    assert verify(writer.folder).intact
    assert [p.read_bytes() for p in (writer.folder / "tails").iterdir()] == [tail]


def test_a_crash_in_the_middle_of_recovery_is_recovered_from(tmp_path: Path):
    """Each file-system call of recovery fails in turn; the next try still ends whole, tail kept and named."""
    writer = new_record(tmp_path / "seed")
    writer.append([spoken()], 1, WALL)
    writer.close()
    with (writer.folder / "record.jsonl").open("ab") as file:
        file.write(b'{"torn')
    at = 0
    while True:
        at += 1
        root = tmp_path / str(at)
        shutil.copytree(tmp_path / "seed", root)
        folder = root / "GB-2" / writer.folder.name
        files = FaultyFiles(
            at, calls=("write", "sync", "truncate", "replace", "sync_folder", "open"), part=at % 50
        )
        try:
            recover(folder, wall=WALL, files=files).close()
        except StorageError as error:
            assert error.where
        if files.count < at:
            break
        recover(folder, wall=WALL).close()
        record = read_record(folder)
        assert record.problems == [] and verify(folder).intact
        tails = {p.name for p in (folder / "tails").glob("tail-*.bin")}
        named = [item["name"] for line in record.lines for item in line.data.get("set_aside", [])]
        assert tails == set(named) and len(named) == len(set(named))
        assert b'{"torn' in {p.read_bytes() for p in (folder / "tails").glob("tail-*.bin")}
    assert at > 10


def test_a_line_changed_in_the_middle_is_not_tidied_away(tmp_path: Path):
    writer = new_record(tmp_path)
    for t_ms in range(4):
        writer.append([spoken(f"Step {t_ms}")], t_ms, WALL)
    writer.close()
    path = writer.folder / "record.jsonl"
    changed = path.read_bytes().replace(b"Step 1", b"Step 9")
    path.write_bytes(changed)
    with pytest.raises(RecordError):
        recover(writer.folder, wall=WALL)
    with pytest.raises(RecordError):
        recover(writer.folder, wall=WALL, witness=False)
    assert path.read_bytes() == changed


def test_whole_lines_missing_are_refused_through_the_witness_and_only_knowingly_accepted(tmp_path: Path):
    writer = new_record(tmp_path)
    for t_ms in range(4):
        writer.append([spoken()], t_ms, WALL)
    writer.close()
    path = writer.folder / "record.jsonl"
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:3]))
    with pytest.raises(RecordError, match="saw 5 lines, but only 3"):
        recover(writer.folder, wall=WALL)
    recover(writer.folder, wall=WALL, accept_loss=True).close()
    assert "saw 5 lines" in read_record(writer.folder).lines[-1].data["lost"]


def test_a_sealed_record_and_one_that_never_began_are_not_recovered(tmp_path: Path):
    folder = sealed_record(tmp_path)
    with pytest.raises(RecordError, match="sealed"):
        recover(folder, wall=WALL)
    empty = tmp_path / "GB-2" / "x"
    empty.mkdir()
    (empty / "record.jsonl").write_bytes(b'{"data"')
    with pytest.raises(RecordError, match="had not begun"):
        recover(empty, wall=WALL)
    with pytest.raises(RecordError, match="no record here"):
        recover(tmp_path / "nowhere", wall=WALL)


def test_recovery_keeps_the_sessions_time_and_the_seal_counts_everything(tmp_path: Path):
    writer = new_record(tmp_path)
    writer.append([spoken()], 5000, WALL)
    writer.close()
    again = recover(writer.folder, wall=WALL, t_ms=4000)
    assert again.t_ms == 5000
    again.append([spoken()], 6000, WALL)
    again.seal(7000, WALL, verdict="stands")
    seal = read_record(writer.folder).seal
    assert seal and seal.data["count"] == 4 and verify(writer.folder).complete
