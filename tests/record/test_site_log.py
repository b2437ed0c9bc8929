"""The witness log: RFC 9162 roots over the site's records, by several processes, through crashes."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from assistant.errors import RecordError
from assistant.record.lines.canonical import to_canonical
from assistant.record.lines.merkle import leaf_hash, proof_holds, root_of
from assistant.record.site_log import CHECKPOINT_LINES, SiteLog, printed_statement
from assistant.record.verify import verify
from tests.record.support import WALL, new_record, sealed_record, spoken


def leaves(log: SiteLog) -> list[bytes]:
    entries = [json.loads(raw) for raw in log.path.read_bytes().splitlines()]
    return [to_canonical({k: v for k, v in entry.items() if k != "root"}) for entry in entries]


def test_every_entry_carries_the_root_of_all_before_it(tmp_path: Path):
    sealed_record(tmp_path, session_id="a")
    sealed_record(tmp_path, 2 * CHECKPOINT_LINES + 12, session_id="b")
    log = SiteLog(tmp_path)
    entries = [json.loads(raw) for raw in log.path.read_bytes().splitlines()]
    assert [e["event"] for e in entries] == ["opened", "sealed", "opened", "lines", "lines", "sealed"]
    for n, entry in enumerate(entries, 1):
        assert entry["root"] == root_of(leaves(log)[:n]).hex() == log.root_at(n)
    report = log.check()
    assert (report.size, report.problems, report.root) == (6, (), entries[-1]["root"])


def test_a_lost_or_wrong_state_file_is_made_again_from_the_log(tmp_path: Path):
    log = SiteLog(tmp_path)
    for n in range(5):
        log.note("x", "GB-2/s", n, "a" * 64, WALL)
        (log.folder / "state.json").write_text(
            ["{}", "", '{"size":1}', '{"size":0,"offset":0,"root":"","peaks":[]}', "x"][n]
        )
    assert log.check().problems == () and log.check().size == 5


def test_a_torn_entry_is_set_aside_and_the_log_goes_on(tmp_path: Path):
    log = SiteLog(tmp_path)
    log.note("x", "GB-2/s", 1, "a" * 64, WALL)
    with log.path.open("ab") as file:
        file.write(b'{"count"')
    assert log.check().problems
    log.note("x", "GB-2/s", 2, "b" * 64, WALL)
    assert log.check().problems == () and log.check().size == 2
    assert [p.read_bytes() for p in log.folder.glob("tail-*")] == [b'{"count"']


def test_every_changed_dropped_or_swapped_entry_is_found(tmp_path: Path):
    log = SiteLog(tmp_path)
    for n in range(1, 6):
        log.note("x", f"GB-2/s{n}", n, "a" * 64, WALL)
    good = log.path.read_bytes().splitlines(keepends=True)
    for n in range(5):
        for changed in (
            good[:n] + good[n + 1 :] if n < 4 else None,
            good[: n + 1] + good[n:],
            [*good[:n], good[n].replace(b"a" * 64, b"b" * 64), *good[n + 1:]],
        ):
            if changed is not None:
                log.path.write_bytes(b"".join(changed))
                assert log.check().problems, n
    log.path.write_bytes(good[0] + b"nonsense\n" + b"".join(good[1:]))
    with pytest.raises(RecordError, match="damaged"):
        log.note("x", "GB-2/s", 1, "a" * 64, WALL)


def test_a_record_is_proven_to_be_in_the_log_by_its_audit_path(tmp_path: Path):
    for n in range(4):
        sealed_record(tmp_path, session_id=f"s{n}")
    proof = SiteLog(tmp_path).proof("GB-2/20260314T081500Z-s2")
    assert proof and json.loads(proof["entry"])["event"] == "sealed"
    assert proof_holds(
        leaf_hash(proof["entry"].encode()),
        proof["index"],
        proof["size"],
        [bytes.fromhex(step) for step in proof["path"]],
        bytes.fromhex(proof["root"]),
    )
    assert SiteLog(tmp_path).proof("nobody") is None


def test_an_older_print_is_held_against_todays_log(tmp_path: Path):
    sealed_record(tmp_path, session_id="a")
    log = SiteLog(tmp_path)
    page = printed_statement(log.check(), "Northmere Veterinary Oncology", WALL)
    root = page.split("Root")[1].split("\n")[1].replace(" ", "")
    sealed_record(tmp_path, session_id="b")
    assert log.root_at(2) == root and log.root_at(4) != root
    with pytest.raises(RecordError):
        log.root_at(99)


def test_several_processes_share_one_log(tmp_path: Path):
    program = (
        "import sys; from assistant.record.site_log import SiteLog\n"
        "for n in range(1, 21): SiteLog(sys.argv[1]).note('x', sys.argv[2], n, 'a' * 64,"
        " '2026-03-14T09:15:00Z')\n"
    )
    children = [
        subprocess.Popen(
            [sys.executable, "-c", program, str(tmp_path), f"GB-2/s{n}"], cwd=Path(__file__).parents[2]
        )
        for n in range(3)
    ]
    assert [child.wait(60) for child in children] == [0, 0, 0]
    report = SiteLog(tmp_path).check()
    assert (report.size, report.problems) == (60, ())


def test_a_witness_that_cannot_write_is_a_warning_and_loses_no_session(tmp_path: Path):
    writer = new_record(tmp_path)
    log = tmp_path / "_witness" / "log.jsonl"
    log.write_bytes(b"broken\n")
    for t_ms in range(CHECKPOINT_LINES + 16):
        writer.append([spoken()], t_ms, WALL)
    writer.seal(CHECKPOINT_LINES + 26, WALL, verdict="stands")
    assert len(writer.warnings) >= 2 and verify(writer.folder, witness=False).complete
    assert "Witness log" in verify(writer.folder).problems[-1]
