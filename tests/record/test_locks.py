"""One writer per session, one live session per enclosure; a crash doesn't lock anybody out."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from assistant.errors import RecordError
from assistant.record.recover import recover
from assistant.record.storage.locks import WriterLock
from tests.record.support import WALL, new_record, spoken

HOLD = """
import sys
from tests.record.support import new_record
writer = new_record(sys.argv[1], sys.argv[2])
print("held", flush=True)
sys.stdin.read()
"""


@pytest.fixture
def holder(tmp_path: Path):
    """Another process that writes a live record of GB-2 below tmp_path."""
    child = subprocess.Popen(
        [sys.executable, "-c", HOLD, str(tmp_path), "live"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        cwd=Path(__file__).parents[2],
    )
    assert child.stdout and child.stdout.readline().strip() == b"held"
    yield child
    child.kill()
    child.communicate()


def test_a_second_process_is_refused_with_the_owners_name(tmp_path: Path, holder: subprocess.Popen):
    with pytest.raises(RecordError, match="T. Technician") as caught:
        recover(tmp_path / "GB-2" / "20260314T081500Z-s1", wall=WALL)
    assert str(holder.pid) in str(caught.value) and caught.value.exit_code == 7
    with pytest.raises(RecordError, match="enclosure is being written by T. Technician"):
        new_record(tmp_path, session_id="s2")
    new_record(tmp_path, "practice", session_id="s3").close()  # practice needs no enclosure


def test_a_lock_left_by_a_killed_process_is_taken_and_the_record_says_so(
    tmp_path: Path, holder: subprocess.Popen
):
    holder.kill()
    holder.wait()
    writer = recover(tmp_path / "GB-2" / "20260314T081500Z-s1", wall=WALL)
    assert b'"stale_lock":true' in (writer.folder / "record.jsonl").read_bytes()
    writer.append([spoken()], 1, WALL)
    writer.close()


def test_in_one_process_too_there_is_one_writer_and_letting_go_frees(tmp_path: Path):
    first = WriterLock(tmp_path, "A")
    with pytest.raises(RecordError, match="written by A"):
        WriterLock(tmp_path, "B")
    first.release()
    first.release()
    second = WriterLock(tmp_path, "B")
    assert not second.was_stale
    second.release()


def test_an_owners_name_from_a_hostile_file_is_shown_harmless(tmp_path: Path):
    first = WriterLock(tmp_path, "A\x1b[2Jevil\u202e")
    with pytest.raises(RecordError) as caught:
        WriterLock(tmp_path, "B")
    assert "\x1b" not in str(caught.value) and "\u202e" not in str(caught.value)
    next(tmp_path.glob("*.json")).write_bytes(b"[" * 100)
    with pytest.raises(RecordError, match="somebody else"):
        WriterLock(tmp_path, "B")
    first.release()
