"""Clips: somebody's voice, kept only as the site chose, and a deletion leaves the hash."""

from __future__ import annotations

import hashlib
import io
import math
import struct
from pathlib import Path

import pytest
import soundfile

from assistant.errors import RecordError, StorageError, UsageError
from assistant.record.beside.clips import ClipPolicy, ClipStore, to_flac, window
from assistant.record.site_log import SiteLog
from assistant.record.verify import verify
from tests.record.support import WALL, FaultyFiles, sealed_record

PCM = b"".join(struct.pack("<h", round(8000 * math.sin(n / 9))) for n in range(16_000))


def test_a_clip_is_16_khz_flac_without_loss_and_named_by_its_hash(tmp_path: Path):
    name = ClipStore(tmp_path, ClipPolicy("all")).save(PCM, accepted=True)
    data = (tmp_path / "clips" / f"{name}.flac").read_bytes()
    assert data[:4] == b"fLaC" and hashlib.sha256(data).hexdigest() == name
    samples, rate = soundfile.read(io.BytesIO(data), dtype="int16")
    assert rate == 16_000 and samples.tobytes() == PCM


@pytest.mark.parametrize(
    ("keep", "kept"), [("all", [True, True]), ("refused", [False, True]), ("none", [False, False])]
)
def test_the_policy_says_which_are_kept(tmp_path: Path, keep: str, kept: list[bool]):
    store = ClipStore(tmp_path, ClipPolicy(keep))
    assert [bool(store.save(PCM, accepted=accepted)) for accepted in (True, False)] == kept
    assert len(list(tmp_path.rglob("*.flac"))) == any(kept)  # the same sound is one file


def test_refused_only_is_the_default():
    assert ClipPolicy().keep == "refused"
    with pytest.raises(UsageError):
        ClipPolicy("some")  # type: ignore[arg-type]
    with pytest.raises(UsageError):
        ClipPolicy(days=-1)


def test_a_clip_covers_a_second_before_and_after_as_far_as_sound_is_held():
    assert window(10.0, 11.5, 0.0, 60.0) == (9.0, 12.5)
    assert window(0.4, 1.0, 0.0, 1.6) == (0.0, 1.6)


def test_a_deleted_clip_leaves_its_hash_and_a_note_and_the_record_still_holds(tmp_path: Path):
    folder = sealed_record(tmp_path)
    store = ClipStore(folder, ClipPolicy("all", days=30))
    name = store.save(PCM, accepted=True)
    assert store.path(name)
    assert store.expire(WALL, wall="2026-04-12T09:00:00+01:00") == []
    assert store.expire(WALL, wall="2026-04-14T09:00:00+01:00") == [name]
    assert store.path(name) is None and not store.delete(name, wall=WALL, reason="again")
    assert (
        b"clip_deleted" in SiteLog(tmp_path).path.read_bytes()
        and name.encode() in SiteLog(tmp_path).path.read_bytes()
    )
    assert verify(folder).complete


def test_a_changed_clip_and_a_name_that_is_none_are_not_played(tmp_path: Path):
    store = ClipStore(tmp_path, ClipPolicy("all"))
    name = store.save(PCM, accepted=True)
    (tmp_path / "clips" / f"{name}.flac").write_bytes(b"other")
    with pytest.raises(RecordError):
        store.path(name)
    assert store.path("../../etc/passwd") is None and store.path("") is None
    assert not store.delete("../" + name, wall=WALL, reason="x")


def test_half_a_sample_and_a_full_disk_are_told(tmp_path: Path):
    with pytest.raises(UsageError):
        to_flac(b"abc")
    with pytest.raises(StorageError):
        ClipStore(tmp_path, ClipPolicy("all"), files=FaultyFiles(1)).save(PCM, accepted=True)
