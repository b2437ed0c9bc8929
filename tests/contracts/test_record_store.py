"""One contract for every place a record can be kept: the file and its twin in memory, failures included."""

from __future__ import annotations

import errno
from collections.abc import Callable
from pathlib import Path

import pytest

from assistant.errors import StorageError
from assistant.record.reader import read_store
from assistant.record.recover import recover_store
from assistant.record.storage.file_store import FileLineStore
from assistant.record.storage.memory_store import MemoryLineStore
from assistant.record.storage.store import LineStore
from assistant.record.writer import RecordWriter
from tests.record.support import WALL, FaultyFiles, spoken

MakeFailing = Callable[
    [int, int], LineStore
]  # error number, bytes that still arrive -> store, failing at once


class Maker:
    """Makes the store under test, one that fails, and what a new process would find."""

    def __init__(self, kind: str, folder: Path) -> None:
        self.kind, self.folder = kind, folder

    def make(self) -> LineStore:
        if self.kind == "memory":
            return MemoryLineStore()
        return FileLineStore(self.folder / "a", new=True, reserve=self.reserves)

    @property
    def reserves(self) -> bool:
        return self.kind == "file with reserve"

    def failing(self, error_number: int, part: int) -> LineStore:
        if self.kind == "memory":
            store = MemoryLineStore()
            store.append(b"before\n")
            store.fail_next(error_number, part)
            return store
        FileLineStore(self.folder / "a", new=True).close()
        store = FileLineStore(
            self.folder / "a",
            new=False,
            files=FaultyFiles(2, error_number, calls=("write",), part=part),
            reserve=self.reserves,
        )
        store.append(b"before\n")
        return store

    def again(self, store: LineStore) -> LineStore:
        store.close()
        return (
            store.reopened()
            if isinstance(store, MemoryLineStore)
            else FileLineStore(self.folder / "a", new=False, reserve=self.reserves)
        )


@pytest.fixture(params=["file", "file with reserve", "memory"])
def maker(request: pytest.FixtureRequest, tmp_path: Path) -> Maker:
    return Maker(request.param, tmp_path)


def held(store: LineStore) -> bytes:
    """All bytes but the room reserved behind them."""
    with store.stream() as stream:
        return stream.read().rstrip(b"\0")


def test_a_new_store_is_empty(maker: Maker):
    store = maker.make()
    assert (store.size(), held(store), store.asides()) == (0, b"", {})


def test_appends_stand_in_order_and_are_found_again(maker: Maker):
    store = maker.make()
    store.append(b"one\n")
    store.append(b"two\nthree\n")
    assert held(maker.again(store)) == b"one\ntwo\nthree\n"


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EIO])
@pytest.mark.parametrize("part", [0, 3])
def test_a_failed_append_is_told_and_nothing_more_is_taken(maker: Maker, number: int, part: int):
    store = maker.failing(number, part)
    with pytest.raises(StorageError) as first:
        store.append(b"after\n")
    assert first.value.try_next
    with pytest.raises(StorageError):
        store.append(b"later\n")
    assert held(maker.again(store)) == b"before\n" + b"after\n"[:part]


def test_where_the_seal_comes_next_the_store_ends_with_its_last_line(maker: Maker):
    store = maker.make()
    store.append(b"one\n")
    store.end_here()
    store.append(b"seal\n")
    assert store.size() == len(b"one\nseal\n")
    store.close()
    assert held(maker.again(store)) == b"one\nseal\n"


def test_after_close_nothing_is_taken_and_a_second_close_does_no_harm(maker: Maker):
    store = maker.make()
    store.append(b"one\n")
    store.close()
    store.close()
    with pytest.raises(StorageError):
        store.append(b"two\n")


def test_a_tail_set_aside_is_kept_once_and_the_store_goes_on_after_the_cut(maker: Maker):
    store = maker.make()
    store.append(b"one\ntor")
    for _ in range(2):
        store.set_aside("tail-at-4-x.bin", b"tor")
    store.cut(4)
    store.append(b"two\n")
    again = maker.again(store)
    assert (held(again), again.asides()) == (b"one\ntwo\n", {"tail-at-4-x.bin": b"tor"})


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EIO])
def test_a_writer_on_it_goes_on_after_a_failure_through_recovery(maker: Maker, number: int):
    store = maker.make()
    writer = RecordWriter(store, kind="script", rules=1)
    writer.append([spoken("one")], 0, WALL)
    whole = held(store)
    if isinstance(store, MemoryLineStore):
        store.fail_next(number, 40)
    else:
        store._files = FaultyFiles(1, number, calls=("write",), part=40)  # type: ignore[attr-defined]
    with pytest.raises(StorageError):
        writer.append([spoken("two")], 1, WALL)
    assert writer.failed
    store = maker.again(store)
    recover_store(store, wall=WALL, why="the disk was full").append([spoken("two again")], 2, WALL)
    record = read_store(store)
    assert held(store).startswith(whole) and record.problems == []
    assert [line.kind for line in record.lines] == ["spoken", "record_recovered", "spoken"]
    assert [len(tail) for tail in store.asides().values()] == [40]
    assert record.lines[1].data["set_aside"][0]["bytes"] == 40
