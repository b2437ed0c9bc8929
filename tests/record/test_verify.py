"""Tampering: every bit of a golden record, every line dropped, doubled, swapped or put in, and random
changes."""

from __future__ import annotations

import io
import random
import shutil
import subprocess
import sys
import zipfile
from importlib import resources
from pathlib import Path

import pytest

from assistant.errors import RecordError
from assistant.record.export.archive import archive_bytes
from assistant.record.reader import read_record
from assistant.record.verify import DeepOutcome, VerifyReport, deep_verify, verify, verify_stream
from tests.bench.record.kill import independent_verifier
from tests.bench.record.tamper import tamper_rounds
from tests.record.make_golden import make
from tests.record.support import WALL, new_record, sealed_record, spoken, summary, supervisor, whole_session

GOLDEN = Path(__file__).parents[1] / "golden" / "records"
LIVE = GOLDEN / "v1-live.jsonl"


def check(data: bytes) -> VerifyReport:
    return verify_stream(io.BytesIO(data))


@pytest.mark.parametrize("path", sorted(GOLDEN.glob("*.jsonl")), ids=lambda path: path.name)
def test_golden_records_of_every_version_verify_for_ever(path: Path):
    report = check(path.read_bytes())
    assert report.complete, report.problems
    assert report.kind in path.name and report.holds_through == report.lines == path.read_bytes().count(b"\n")
    assert independent_verifier().check(path.read_bytes()) == (0, "", True)
    assert read_record(path).problems == []


def test_the_newest_version_is_still_written_to_the_byte(tmp_path: Path):
    for kind in ("live", "practice"):
        assert make(tmp_path / kind, kind).read_bytes() == (GOLDEN / f"v1-{kind}.jsonl").read_bytes()


def test_every_single_bit_flip_is_found_and_its_line_is_named():
    data = LIVE.read_bytes()
    assert len(data) <= 8192
    judge = independent_verifier()
    line, flips = 1, 0
    for place, byte in enumerate(data):
        for bit in range(8):
            flipped = data[:place] + bytes([byte ^ 1 << bit]) + data[place + 1 :]
            report = check(flipped)
            assert not report.complete, (place, bit)
            assert report.first_bad_line == line, (place, bit, report.problems)
            assert report.holds_through < line
            flips += 1
        if place % 7 == 0:  # the independent verifier agrees, on a share of the bits
            assert judge.check(flipped)[0] or not judge.check(flipped)[2]
        line += byte == 0x0A
    assert flips == len(data) * 8


def lines_of(path: Path) -> list[bytes]:
    return path.read_bytes().splitlines(keepends=True)


def test_every_dropped_doubled_swapped_inserted_and_truncated_line_is_found_and_named():
    lines = lines_of(LIVE)
    seal_at = next(n for n, raw in enumerate(lines) if b"record_sealed" in raw)
    for n in range(len(lines)):
        if n < len(lines) - 1:
            assert check(b"".join(lines[:n] + lines[n + 1 :])).first_bad_line == n + 1, "dropped"
        assert check(b"".join(lines[: n + 1] + lines[n:])).first_bad_line == n + 2, "doubled"
        for m in range(n + 1, len(lines)):
            swapped = lines[:]
            swapped[n], swapped[m] = swapped[m], swapped[n]
            assert check(b"".join(swapped)).first_bad_line == n + 1, "swapped"
            inserted = [*lines[:n], lines[m], *lines[n:]]
            assert check(b"".join(inserted)).first_bad_line == n + 1, "inserted"
        truncated = check(b"".join(lines[:n]))
        assert not truncated.complete if n <= seal_at else truncated.complete  # signatures: the witness knows


def test_what_still_holds_is_what_a_later_line_confirms():
    lines = lines_of(LIVE)
    lines[3] = lines[3].replace(b"dried early", b"dried later").replace(b"Reiniger", b"Reinigen")
    report = check(b"".join(lines))
    assert (report.first_bad_line, report.holds_through) == (4, 3)
    assert "Line 4" in report.problems[0]


def test_a_practice_record_cannot_be_made_live_by_changing_its_word():
    data = (GOLDEN / "v1-practice.jsonl").read_bytes().replace(b'"record":"practice"', b'"record":"live"')
    assert check(data).first_bad_line == 1


def test_random_tamperings_of_a_larger_record_are_all_found(tmp_path: Path):
    data = (sealed_record(tmp_path, 120) / "record.jsonl").read_bytes()
    tally = tamper_rounds(data, 1000, random.Random(4))
    assert (tally.tamperings, tally.missed, tally.misnamed) == (1000, [], [])
    assert len(tally.by_kind) >= 9 and min(tally.by_kind.values()) > 20


@pytest.mark.full
def test_twenty_thousand_random_tamperings_are_all_found(tmp_path: Path):
    data = (sealed_record(tmp_path, 100) / "record.jsonl").read_bytes()
    tally = tamper_rounds(data, 20_000, random.Random(5))
    assert (tally.tamperings, tally.missed, tally.misnamed) == (20_000, [], [])


def test_lines_cut_off_an_open_record_are_found_through_the_witness_log(tmp_path: Path):
    writer = new_record(tmp_path)
    for t_ms in range(6):
        writer.append([spoken()], t_ms, WALL)
    writer.close()
    path = writer.folder / "record.jsonl"
    lines = lines_of(path)
    assert verify(path).intact and not verify(path).complete
    for kept in range(1, len(lines)):
        path.write_bytes(b"".join(lines[:kept]))
        report = verify(path)
        assert report.first_bad_line == kept + 1 and "saw 7 lines" in report.problems[0]
    path.write_bytes(b"".join(lines)[:-3] + b"\x41}\n")
    assert verify(path).first_bad_line == 7  # the last line of an open record has no successor to confirm it


def test_signatures_cut_off_are_found_through_the_witness_log(tmp_path: Path):
    path = make(tmp_path, "live")
    lines = lines_of(path)
    path.write_bytes(b"".join(lines[:-1]))
    assert verify(path, witness=False).complete
    report = verify(path)
    assert report.first_bad_line == len(lines) and not report.complete


def test_a_record_rewritten_from_the_start_is_found_through_the_witness_log(tmp_path: Path):
    """Somebody who knows the format makes a new, perfectly chained record; only the log tells."""
    folder = sealed_record(tmp_path / "true")
    forged = sealed_record(tmp_path / "forged", 8)
    shutil.copyfile(forged / "record.jsonl", folder / "record.jsonl")
    assert verify(folder, witness=False).complete
    assert not verify(folder).complete


def test_a_signature_by_a_key_that_is_not_in_the_registry_is_a_problem():
    key = supervisor().entry
    with LIVE.open("rb") as stream:
        assert verify_stream(stream, public_keys={key.key_id: key.public_key}).complete
    with LIVE.open("rb") as stream:
        assert "isn't in the registry" in verify_stream(stream, public_keys={}).problems[0]


def test_the_independent_verifier_runs_on_bare_python(tmp_path: Path):
    text = resources.files("assistant.record.export").joinpath("independent_verifier.py.txt").read_text()
    assert len(text.splitlines()) <= 40 and "assistant" not in text
    (tmp_path / "check.py").write_text(text)
    for data, code in (
        (LIVE.read_bytes(), 0),
        (b"".join(lines_of(LIVE)[:4]), 1),
        (LIVE.read_bytes().replace(b"ceiling", b"cellars"), 2),
        (b"", 2),
        (b"[" * 99_999 + b"\n", 2),
    ):
        (tmp_path / "record.jsonl").write_bytes(data)
        done = subprocess.run(
            [sys.executable, "-I", "-S", "check.py", "record.jsonl"],
            cwd=tmp_path,
            capture_output=True,
            text=True,
        )
        assert (done.returncode, done.stderr) == (code, ""), done
    assert "Line 1 is not a line" in done.stdout


def test_deep_verification_holds_the_replayed_state_against_the_sealed_one(tmp_path: Path):
    writer = new_record(tmp_path)
    writer.seal(1, WALL, verdict="stands", state_sha256="a" * 64)
    record = read_record(writer.folder)
    assert deep_verify(record, lambda _: DeepOutcome("a" * 64)) == []
    assert "another state" in deep_verify(record, lambda _: DeepOutcome("b" * 64))[0]
    assert deep_verify(
        record, lambda _: DeepOutcome("a" * 64, problems=("Line 3 was spoken otherwise.",))
    ) == ["Line 3 was spoken otherwise."]


def test_no_file_is_one_clear_message(tmp_path: Path):
    with pytest.raises(RecordError, match="no record here"):
        verify(tmp_path / "nothing")


def test_a_changed_clip_and_a_missing_or_changed_scan_are_found_and_a_deleted_clip_is_not(tmp_path: Path):
    from assistant.record.beside.clips import ClipPolicy, ClipStore
    from assistant.record.transcribe import PaperEntry, transcribe

    writer = new_record(tmp_path)
    clips = ClipStore(writer.folder, ClipPolicy("all"))
    names = [clips.save(bytes(2) * n, accepted=True) for n in (100, 200)]
    (tmp_path / "paper.pdf").write_bytes(b"%PDF")
    scan = transcribe(
        writer, [PaperEntry("", "Wiped.")], [tmp_path / "paper.pdf"], author="T", transcriber="C", wall=WALL
    )[0]
    writer.seal(9, WALL, verdict="stands")
    (writer.folder / "clips" / f"{names[0]}.flac").unlink()
    assert verify(writer.folder).complete
    (writer.folder / "clips" / f"{names[1]}.flac").write_bytes(b"other words")
    (writer.folder / "scans" / f"{scan}.pdf").rename(writer.folder / "scans" / "away.pdf")
    assert [problem.split()[0] for problem in verify(writer.folder).problems] == [
        f"clips/{names[1]}.flac",
        "The",
    ]


@pytest.mark.parametrize(
    ("name", "gone"),
    [("site/gb-2.yaml", True), ("site/agents/a.yaml", True), ("approvals/gb-2.json", True), ("session.wav", False)],
)
def test_changed_site_files_approval_and_sound_are_found_and_only_the_sound_may_be_deleted(
    tmp_path: Path, name: str, gone: bool
):
    folder = whole_session(tmp_path)
    assert verify(folder).problems == []
    (folder / name).write_bytes(b"other")
    assert any(name in problem for problem in verify(folder).problems)
    (folder / name).unlink()
    assert [p for p in verify(folder).problems if name.split("/")[-1] in p and "missing" in p] != [] or not gone
    assert gone or verify(folder).complete


def test_two_site_files_that_changed_places_are_found(tmp_path: Path):
    folder = whole_session(tmp_path)
    one, two = folder / "site" / "gb-2.yaml", folder / "site" / "agents" / "a.yaml"
    first, second = one.read_bytes(), two.read_bytes()
    one.write_bytes(second)
    two.write_bytes(first)
    assert len([p for p in verify(folder).problems if "isn't a file that the record names" in p]) == 2


@pytest.mark.parametrize("name", ["..", "x" * 5000, "../../s", "a\u0000b", "CON", "", "/etc/passwd", 7, None, {"a": []}])
def test_names_of_files_in_a_hostile_record_lead_nowhere_and_stop_nobody(tmp_path: Path, name: object):
    part = {"file": name, "sha256": "a" * 64}
    writer = new_record(tmp_path, header={"files": [part, name, 3], "approval_file": part})
    writer.append([{"kind": "record_file_attached", "v": 1, "data": part}], 1, WALL)
    writer.seal(2, WALL, verdict="stands")
    assert verify(writer.folder).complete
    data = archive_bytes(read_record(writer.folder), summary())
    assert len(zipfile.ZipFile(io.BytesIO(data)).namelist()) == 7  # the record and what is made from it


def test_a_record_alone_without_its_folders_still_verifies(tmp_path: Path):
    folder = whole_session(tmp_path)
    (tmp_path / "alone").mkdir()
    shutil.copyfile(folder / "record.jsonl", tmp_path / "alone" / "record.jsonl")
    report = verify(tmp_path / "alone" / "record.jsonl")
    assert report.problems == [f"The scan {next(iter(report.named.scans))} is missing."]


def test_reading_stops_at_a_broken_link_and_says_so(tmp_path: Path):
    path = sealed_record(tmp_path) / "record.jsonl"
    path.write_bytes(path.read_bytes().replace(b"Step 2", b"Step 7"))
    record = read_record(path)
    assert (len(record.lines), record.ending.how, record.seal) == (5, "malformed", None)
    assert record.problems == ["Line 6: doesn't follow from the line before."]
