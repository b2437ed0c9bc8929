"""Paper entered afterwards: who wrote, who typed, the scan by hash, and never a wait that was watched."""

from __future__ import annotations

import hashlib
import io
from pathlib import Path

import pytest
from pypdf import PdfReader

from assistant.errors import RecordError, UsageError
from assistant.record.export.pdf import pdf_bytes
from assistant.record.export.tag import status
from assistant.record.reader import read_record
from assistant.record.recover import recover
from assistant.record.signing.signatures import sign_record
from assistant.record.transcribe import PaperEntry, read_entries, transcribe, transcription_record
from assistant.record.verify import verify
from assistant.review.deciding.decisions import MEANINGS, REMARK
from assistant.station.account.summary import summarise as summary_of
from assistant.station.commands.verify_cli import describe
from tests.record.support import WALL, new_record, sealed_record, spoken, supervisor

ROWS = [
    PaperEntry("2026-03-13T22:10:00+01:00", "Ceiling wiped with the sporicidal."),
    PaperEntry("", "Waste out."),
]
NAMES = {"author": "T. Technician", "transcriber": "C. Clerk"}


@pytest.fixture
def scan(tmp_path: Path) -> Path:
    path = tmp_path / "sheet.PDF"
    path.write_bytes(b"%PDF-1.4 paper")
    return path


def test_late_entries_go_into_an_open_record_with_names_times_and_the_scan(tmp_path: Path, scan: Path):
    writer = new_record(tmp_path / "r")
    writer.append([spoken()], 5000, WALL)
    writer.close()
    with recover(writer.folder, wall=WALL) as again:
        hashes = transcribe(again, ROWS, [scan], wall=WALL, **NAMES)
    record = read_record(writer.folder)
    late = [line.data for line in record.lines if line.kind == "record_late_entry"]
    assert [entry["text"] for entry in late] == [row.text for row in ROWS]
    assert all(entry["contemporaneous"] is False and entry["entered"] == WALL for entry in late)
    assert late[0]["author"] == "T. Technician" and late[0]["transcriber"] == "C. Clerk"
    assert late[0]["scan_sha256"] == hashes == [hashlib.sha256(scan.read_bytes()).hexdigest()]
    assert (writer.folder / "scans" / f"{hashes[0]}.pdf").read_bytes() == scan.read_bytes()
    assert verify(writer.folder).intact


def test_the_core_never_sees_a_late_entry_so_it_counts_as_no_wait(tmp_path: Path, scan: Path):
    writer = new_record(tmp_path / "r")
    transcribe(writer, ROWS, [scan], wall=WALL, **NAMES)
    assert list(read_record(writer.folder).facts()) == []


def test_a_whole_session_on_paper_becomes_a_sealed_record_that_says_so(tmp_path: Path, scan: Path):
    folder = transcription_record(
        tmp_path / "r",
        ROWS,
        [scan],
        header={"technician": "T. Technician"},
        enclosure="GB-2",
        stamp="20260314T081500Z",
        session_id="paper",
        rules=0,
        wall=WALL,
        **NAMES,
    )
    record = read_record(folder)
    assert record.header["transcribed"] is True and record.seal
    assert record.seal.data["verdict"].startswith("transcribed from paper") and verify(folder).complete


def test_nothing_is_entered_without_names_scan_or_an_open_record(tmp_path: Path, scan: Path):
    writer = new_record(tmp_path / "r")
    for names, scans in (
        ({"author": "", "transcriber": "C"}, [scan]),
        ({"author": "T", "transcriber": " "}, [scan]),
        (NAMES, []),
    ):
        with pytest.raises(UsageError):
            transcribe(writer, ROWS, scans, wall=WALL, **names)
    (tmp_path / "scan.exe").write_bytes(b"")
    for bad in (tmp_path / "scan.exe", tmp_path / "missing.pdf"):
        with pytest.raises(UsageError):
            transcribe(writer, ROWS, [bad], wall=WALL, **NAMES)
    assert len(read_record(writer.folder).lines) == 1
    writer.close()
    with pytest.raises(RecordError, match="sealed"):
        recover(sealed_record(tmp_path / "r", session_id="s2"), wall=WALL)


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"happened,text\n",
        b"happened,text\nyesterday,Wiped.\n",
        b"happened,text\n,\n",
        b"text\n",
        b"\xff\xfe",
        b"happened,text\n,a,b\n",
        b'happened,text\n"',
    ],
)
def test_entries_that_are_none_are_named_by_row(data: bytes):
    with pytest.raises(UsageError):
        read_entries(data, "paper.csv")


def test_entries_are_read_with_quotes_commas_and_a_byte_order_mark():
    data = '\ufeffhappened,text\r\n2026-03-13T22:10:00+01:00,"Wiped, twice"\r\n'.encode()
    assert read_entries(data) == [PaperEntry("2026-03-13T22:10:00+01:00", "Wiped, twice")]


@pytest.mark.parametrize(
    "header",
    [
        {"technician": "T. Technician"},
        {"enclosure": {"id": "gb-2", "name": "Glove box"}, "procedure": {"title": "Light clean", "revision": 3}},
        {"enclosure": ["odd"], "procedure": 7, "software": None, "site": {"a": 1}},
    ],
)
def test_a_clean_kept_on_paper_is_exported_and_labelled_for_what_it_is(tmp_path: Path, scan: Path, header: dict):
    folder = transcription_record(
        tmp_path / "r", ROWS, [scan], header=header, enclosure="GB-2", stamp="20260314T081500Z", session_id="paper",
        rules=0, wall=WALL, **NAMES,
    )  # fmt: skip
    record = read_record(folder)
    said = summary_of(record)
    assert said.technician == "T. Technician" and "No wait in it was watched" in said.verdict and not said.bars
    pages = [page.extract_text() for page in PdfReader(io.BytesIO(pdf_bytes(record, said))).pages]
    assert "Late entries" in pages[0] and "C. Clerk" in pages[0] and "Steps done" not in pages[0]
    assert "late entry" in pages[1] and ROWS[0].text in pages[1].replace("\n", " ")
    assert "2026-03-13 22:10:00 +01:00" in pages[1].replace("\n", " ")
    assert status(record, said) == "NOT RELEASED"
    sign_record(folder, supervisor(), meaning=MEANINGS[REMARK], wall=WALL)
    signed = read_record(folder)
    assert status(signed, summary_of(signed)) == "Released" and "S. Supervisor" in summary_of(signed).released
    report = verify(folder)
    report.deep = True
    assert "entered late" in describe(report)
