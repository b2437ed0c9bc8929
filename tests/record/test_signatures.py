"""Signatures stand after the seal, name their meaning, and can't be moved, slipped in or lost."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from assistant.errors import RecordError, RefusedError, UsageError
from assistant.record.reader import read_record
from assistant.record.signing.checking import standing_signatures
from assistant.record.signing.keys import UnlockedKey
from assistant.record.signing.signatures import sign_record, withdraw_signature
from assistant.record.verify import verify
from tests.record.support import WALL, new_record, sealed_record, supervisor


def test_a_signature_shows_name_time_and_meaning_and_is_checked(tmp_path: Path):
    # 21 CFR 11.50: printed name, date and time, meaning.
    folder = sealed_record(tmp_path)
    sign_record(folder, supervisor(), meaning="reviewed", wall=WALL, details={"answered": [5]})
    report = verify(folder, public_keys={supervisor().key_id: supervisor().entry.public_key})
    assert report.complete and report.after_seal == 1
    checked = report.signatures[0]
    assert (checked.name, checked.wall, checked.meaning, checked.known) == (
        "S. Supervisor",
        WALL,
        "reviewed",
        True,
    )


def test_a_signature_moved_to_another_record_does_not_hold(tmp_path: Path):
    # 21 CFR 11.70: it can't be cut out, copied or moved.
    one, two = sealed_record(tmp_path, session_id="a"), sealed_record(tmp_path, 8, session_id="b")
    sign_record(one, supervisor(), meaning="reviewed", wall=WALL)
    line = (one / "record.jsonl").read_bytes().splitlines(keepends=True)[-1]
    with (two / "record.jsonl").open("ab") as file:
        file.write(line)
    assert not verify(two).complete
    with pytest.raises(RecordError):
        sign_record(two, supervisor(), meaning="reviewed", wall=WALL)


@pytest.mark.parametrize("kind", ["practice", "demo", "script"])
def test_only_live_records_are_signed(tmp_path: Path, kind: str):
    with pytest.raises(RefusedError, match=f"This is a {kind} record"):
        sign_record(sealed_record(tmp_path, kind=kind), supervisor(), meaning="reviewed", wall=WALL)


def test_an_open_record_and_a_changed_one_are_not_signed(tmp_path: Path):
    writer = new_record(tmp_path)
    writer.close()
    with pytest.raises(RecordError, match="isn't sealed"):
        sign_record(writer.folder, supervisor(), meaning="reviewed", wall=WALL)
    folder = sealed_record(tmp_path, session_id="s2")
    path = folder / "record.jsonl"
    path.write_bytes(path.read_bytes().replace(b"Step 2", b"Step 7"))
    before = path.read_bytes()
    with pytest.raises(RecordError):
        sign_record(folder, supervisor(), meaning="reviewed", wall=WALL)
    assert path.read_bytes() == before


def test_a_withdrawal_names_its_line_and_its_reason_and_both_stay(tmp_path: Path):
    folder = sealed_record(tmp_path)
    signed = sign_record(folder, supervisor(), meaning="reviewed", wall=WALL)
    withdraw_signature(folder, supervisor(), line=signed.seq, reason="wrong session", wall=WALL)
    record = read_record(folder)
    assert [line.kind for line in record.after_seal] == ["record_signed", "record_withdrawn"]
    assert standing_signatures(record) == [] and verify(folder).complete
    with pytest.raises(RecordError, match="no signature that stands"):
        withdraw_signature(folder, supervisor(), line=signed.seq, reason="again", wall=WALL)


def test_meaning_and_reason_are_asked_for(tmp_path: Path):
    folder = sealed_record(tmp_path)
    with pytest.raises(UsageError):
        sign_record(folder, supervisor(), meaning=" ", wall=WALL)
    with pytest.raises(UsageError):
        withdraw_signature(folder, supervisor(), line=1, reason="", wall=WALL)
    with pytest.raises(UsageError):
        sign_record(folder, supervisor(), meaning="x", wall=WALL, details={"digest": "0" * 64})
    assert verify(folder).after_seal == 0


def test_a_torn_signature_is_set_aside_and_the_next_one_says_so(tmp_path: Path):
    folder = sealed_record(tmp_path)
    sign_record(folder, supervisor(), meaning="reviewed", wall=WALL)
    path = folder / "record.jsonl"
    whole = path.read_bytes()
    shutil.rmtree(tmp_path / "_witness")  # the crash came before the log was told
    path.write_bytes(whole[:-40])
    signed = sign_record(folder, supervisor(), meaning="reviewed", wall=WALL)
    assert len(signed.data["set_aside"]) == 1 and verify(folder).complete
    assert len(list((folder / "tails").iterdir())) == 1


def test_a_signature_under_the_id_of_another_key_does_not_hold_though_a_registry_lists_it(tmp_path: Path):
    folder, key = sealed_record(tmp_path), supervisor()
    other = UnlockedKey(replace(key.entry, key_id="0" * len(key.key_id)), key._private)
    sign_record(folder, other, meaning="reviewed", wall=WALL)
    report = verify(folder, public_keys={other.key_id: key.entry.public_key})
    assert [s.problem for s in report.signatures] == ["its key id doesn't fit its key"] and not report.complete
