"""Reserve kept ahead of an open record: no reader takes it for anything else, and nothing else passes for it."""

from __future__ import annotations

import errno
import itertools
from pathlib import Path

import pytest

from assistant.errors import RecordError, StorageError
from assistant.record.lines.reserve import (
    CAN_RESERVE,
    MOST_RESERVE_BYTES,
    RESERVE_BYTES,
    SECTOR_BYTES,
    is_part_of_one_decision,
)
from assistant.record.reader import read_record, read_store
from assistant.record.recover import recover, recover_store
from assistant.record.signing.signatures import sign_record
from assistant.record.storage import file_store
from assistant.record.storage.file_store import FileLineStore
from assistant.record.storage.memory_store import MemoryLineStore
from assistant.record.verify import verify, verify_stream
from assistant.record.writer import RecordWriter
from tests.bench.record.kill import independent_verifier
from tests.record.support import WALL, FaultyFiles, heard, new_record, sealed_record, spoken, supervisor

needs_reserve = pytest.mark.skipif(not CAN_RESERVE, reason="this system keeps no reserve: it appends plainly")
check = independent_verifier().check


def crashed(root: Path, facts: int = 2, tail: bytes = b"") -> Path:
    """A record as a killed writer leaves it: reserve behind it, and `tail` written into the reserve."""
    writer = new_record(root)
    for t_ms in range(facts):
        writer.append([spoken(f"Step {t_ms}.")], t_ms, WALL)
    assert writer.folder
    path = writer.folder / "record.jsonl"
    lines = path.read_bytes().rstrip(b"\0")
    writer.close()
    path.write_bytes((lines + tail).ljust(len(lines) + RESERVE_BYTES, b"\0"))
    return path


@needs_reserve
def test_an_append_writes_over_reserve_that_is_there_and_the_file_grows_only_by_reserve(tmp_path: Path):
    writer = new_record(tmp_path)
    path = writer.folder / "record.jsonl"
    sizes = set()
    for t_ms in range(700):
        writer.append([spoken("x" * 300)], t_ms, WALL)
        sizes.add(path.stat().st_size)
    assert len(sizes) == 2 and max(sizes) - min(sizes) > RESERVE_BYTES // 2
    assert len(read_record(path).lines) == 701


@needs_reserve
def test_every_reader_takes_the_reserve_of_an_open_record_for_nothing(tmp_path: Path):
    path = crashed(tmp_path)
    raw = path.read_bytes()
    assert raw.endswith(b"\n" + b"\0" * RESERVE_BYTES)
    record = read_record(path)
    assert (record.ending.how, record.problems, len(record.lines)) == ("end_of_file", [], 3)
    report = verify(path)
    assert report.intact and not report.torn and not report.sealed
    assert check(raw) == (0, "", False)


@needs_reserve
def test_recovery_gives_reserve_back_and_sets_nothing_aside_for_it(tmp_path: Path):
    path = crashed(tmp_path)
    again = recover(path, wall=WALL)
    told = read_record(path).lines[-1].data
    assert (told["ended"], told["set_aside"]) == ("end_of_file", [])
    assert not (path.parent / "tails").exists()
    again.seal(9, WALL, verdict="stands")
    assert path.read_bytes().endswith(b"}\n") and verify(path).complete
    assert check(path.read_bytes()) == (0, "", True)


def test_torn_bytes_before_the_reserve_are_set_aside_without_it(tmp_path: Path):
    path = crashed(tmp_path, tail=b'{"data":{"torn')
    assert read_record(path).ending.how == "torn"
    assert verify(path).torn and check(path.read_bytes())[0] == 4
    recover(path, wall=WALL).close()
    assert [tail.read_bytes() for tail in (path.parent / "tails").iterdir()] == [b'{"data":{"torn']
    assert verify(path).intact and b"\0" not in path.read_bytes()


def test_a_writer_that_is_closed_leaves_no_reserve_and_one_whose_disk_failed_leaves_all_that_stands(tmp_path: Path):
    writer = new_record(tmp_path / "closed")
    writer.append([spoken()], 1, WALL)
    writer.close()
    assert (writer.folder / "record.jsonl").read_bytes().endswith(b"}\n")
    files = FaultyFiles(calls=("sync",))
    writer = new_record(tmp_path / "failed", files=files, witness=False)
    files.at, files.count = 1, 0
    with pytest.raises(StorageError):
        writer.append([spoken("never told")], 1, WALL)
    writer.close()
    assert b"never told" in (writer.folder / "record.jsonl").read_bytes()


@needs_reserve
def test_reserve_is_given_back_on_disk_before_the_seal_is_written(tmp_path: Path):
    files = FaultyFiles()
    writer = new_record(tmp_path, files=files, witness=False)
    writer.append([spoken()], 1, WALL)
    files.done.clear()
    writer.seal(2, WALL, verdict="stands")
    assert files.done[:4] == ["truncate", "sync", "write", "sync"]
    assert (writer.folder / "record.jsonl").read_bytes().endswith(b"}\n")


@needs_reserve
@pytest.mark.parametrize("call", ["truncate", "sync"])
def test_where_reserve_cannot_be_given_back_no_seal_is_written_and_recovery_seals(tmp_path: Path, call: str):
    files = FaultyFiles(calls=(call,))
    writer = new_record(tmp_path, files=files, witness=False)
    files.at, files.count = 1, 0
    with pytest.raises(StorageError):
        writer.seal(2, WALL, verdict="stands")
    assert writer.failed and read_record(writer.folder).seal is None
    writer.close()
    recover(writer.folder, wall=WALL, witness=False).seal(3, WALL, verdict="stopped")
    assert verify(writer.folder, witness=False).complete


@pytest.mark.parametrize("signed", [False, True])
@pytest.mark.parametrize("tail", [b"\0", b"\0" * RESERVE_BYTES, b"\n", b" ", b"\0\n", b"\0" * SECTOR_BYTES + b"\n"])
def test_anything_behind_a_sealed_record_is_a_finding_reserve_too(tmp_path: Path, tail: bytes, signed: bool):
    folder = sealed_record(tmp_path)
    if signed:
        sign_record(folder, supervisor(), meaning="reviewed", wall=WALL)
    path = folder / "record.jsonl"
    lines = path.read_bytes().count(b"\n")
    with path.open("ab") as file:
        file.write(tail)
    report = verify(path)
    assert not report.complete and report.first_bad_line == lines + 1 and report.holds_through == lines
    assert check(path.read_bytes())[0] == lines + 1
    assert read_record(path).ending.how != "end_of_file"


@pytest.mark.parametrize("byte", [b for b in range(1, 256) if b != 10])
def test_no_byte_but_zero_is_reserve(tmp_path_factory: pytest.TempPathFactory, byte: int):
    store = MemoryLineStore()
    writer = RecordWriter(store, kind="script", rules=1)
    writer.append([spoken()], 0, WALL)
    raw = store.stream().read() + bytes([byte]) * 40
    assert not verify_stream(MemoryLineStore(raw).stream()).intact and check(raw)[0] == 2
    raw = store.stream().read() + b"\0" * 600 + bytes([byte]) + b"\0" * 40
    assert not verify_stream(MemoryLineStore(raw).stream()).intact and check(raw)[0] == 2


def test_more_zeros_than_any_crash_leaves_are_a_finding_and_are_not_read_to_their_end(tmp_path: Path):
    path = crashed(tmp_path)
    with path.open("r+b") as file:
        file.truncate(1 << 40)  # takes no space on the disk, and would take minutes to read
    assert not verify(path).intact
    with pytest.raises(RecordError, match="too long"):
        recover(path, wall=WALL)


def test_a_disk_too_full_for_reserve_is_appended_to_plainly_and_loses_nothing(tmp_path: Path):
    for number, part in itertools.product((errno.ENOSPC, errno.EDQUOT, errno.EFBIG), (0, 5, 2000)):
        folder = tmp_path / f"{number}-{part}"
        files = FaultyFiles(1, number, calls=("write",), part=part)
        store = FileLineStore(folder, new=True, files=files, reserve=True)
        for text in (b"one\n", b"two\n", b"three\n"):
            if not CAN_RESERVE and text == b"one\n":
                files.at = 0
            store.append(text)
        store.close()
        assert (folder / "record.jsonl").read_bytes() == b"one\ntwo\nthree\n"


@needs_reserve
def test_a_disk_that_takes_part_of_the_reserve_is_appended_to(tmp_path: Path):
    store = FileLineStore(tmp_path, new=True, files=FaultyFiles(short=6), reserve=True)
    for text in (b"one\n", b"two and more\n", b"three\n"):
        store.append(text)
    store.close()
    assert (tmp_path / "record.jsonl").read_bytes() == b"one\ntwo and more\nthree\n"


@needs_reserve
def test_a_full_disk_that_takes_neither_reserve_nor_line_is_told(tmp_path: Path):
    class Full(FaultyFiles):
        def write(self, fd: int, data: bytes) -> int:
            raise OSError(errno.ENOSPC, "full")

    with pytest.raises(StorageError, match="Free some space"):
        FileLineStore(tmp_path, new=True, files=Full(), reserve=True).append(b"one\n")


def test_where_a_system_cannot_reserve_appending_is_plain(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(file_store, "CAN_RESERVE", False)
    writer = new_record(tmp_path)
    writer.append([spoken()], 1, WALL)
    assert (writer.folder / "record.jsonl").read_bytes().endswith(b"}\n")


def test_a_decision_of_which_the_disk_took_only_some_sectors_is_a_torn_write_whichever_they_are():
    """A power cut while a decision is written over reserve: the disk takes its sectors in any order, or not at all. Only
    what was told before must be there, and nothing is thrown away."""
    store = MemoryLineStore()
    writer = RecordWriter(store, kind="script", rules=1)
    writer.append([spoken("first")], 0, WALL)
    writer.append([spoken("told")], 1, WALL)
    told = store.stream().read()
    writer.append([heard("confirm"), spoken("a" * 700), spoken("b" * 100), spoken("c" * 600)], 2, WALL)
    after = store.stream().read().ljust(len(told) + RESERVE_BYTES, b"\0")
    first, last = len(told) // SECTOR_BYTES, len(after.rstrip(b"\0")) // SECTOR_BYTES
    assert last - first >= 4
    for took in itertools.product((False, True), repeat=last - first + 1):
        raw = bytearray(told.ljust(len(after), b"\0"))
        for number, there in enumerate(took):
            at = (first + number) * SECTOR_BYTES
            if there:
                raw[at : at + SECTOR_BYTES] = after[at : at + SECTOR_BYTES]
        torn = MemoryLineStore(bytes(raw))
        record = read_store(torn)
        assert record.problems == [] and record.ending.how in ("end_of_file", "torn")
        kept = b"".join(line.raw + b"\n" for line in record.lines)
        assert kept.startswith(told) and after.startswith(kept)
        recover_store(torn, wall=WALL, why="power").append([spoken("on")], 3, WALL)
        assert verify_stream(torn.stream()).intact and torn.stream().read().startswith(kept)
        assert b"".join(torn.asides().values()) == bytes(raw[len(kept) :]).rstrip(b"\0")


@pytest.mark.parametrize("what", ["sector", "line", "byte"])
def test_zeros_over_what_was_written_earlier_are_not_tidied_away(tmp_path: Path, what: str):
    writer = new_record(tmp_path)
    for t_ms in range(12):
        writer.append([spoken(f"Step {t_ms}.")], t_ms, WALL)
    writer.close()
    path = writer.folder / "record.jsonl"
    raw = bytearray(path.read_bytes())
    if what == "sector":
        raw[SECTOR_BYTES : 2 * SECTOR_BYTES] = bytes(SECTOR_BYTES)
    else:
        at = raw.index(b'"text":"Step 10."')
        start = raw.rindex(b"\n", 0, at) + 1
        raw[start : raw.index(b"\n", at) if what == "line" else start + 1] = (
            bytes(raw.index(b"\n", at) - start) if what == "line" else b"\0"
        )
    path.write_bytes(raw)
    for witness in (True, False):
        with pytest.raises(RecordError):
            recover(path, wall=WALL, witness=witness)
    assert path.read_bytes() == bytes(raw) and not verify(path).intact


def test_a_seal_behind_a_hole_is_no_torn_decision(tmp_path: Path):
    folder = sealed_record(tmp_path)
    raw = (folder / "record.jsonl").read_bytes()
    seal = raw[raw.rindex(b"\n", 0, -1) + 1 :]
    at = len(raw) - len(seal)
    hole = bytes(-at % SECTOR_BYTES + SECTOR_BYTES) + b'"}\n'
    assert is_part_of_one_decision(hole + raw[: raw.index(b"\n") + 1], at)
    assert not is_part_of_one_decision(hole + seal, at)
    assert not is_part_of_one_decision(bytes(MOST_RESERVE_BYTES) + b"x", 0)
