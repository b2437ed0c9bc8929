"""What people take away: the same bytes each time, everything in it, and nothing that breaks a page or a
path."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import shutil
import subprocess
import sys
import zipfile
from dataclasses import replace
from importlib import resources
from pathlib import Path

import pytest
from pypdf import PdfReader

from assistant.record.export.archive import archive_bytes, how_to_verify
from assistant.record.export.corrections import corrected_lines
from assistant.record.export.csv_facts import csv_bytes
from assistant.record.export.pdf import pdf_bytes
from assistant.record.export.printed import detail
from assistant.record.export.summary import Bar, Remark, StepRow
from assistant.record.export.tag import NOT_BEYOND_USE, label_pdf, label_text, qr_text, status
from assistant.record.export.time_line import time_line
from assistant.record.reader import Record, read_record
from assistant.record.signing.signatures import sign_record
from tests.record.support import WALL, new_record, sealed_record, spoken, summary, supervisor, whole_session

MESS = "</para>\x1b[31m<b>\u202e\x00 {%s} &amp; 漢字 \ud800 " + "x" * 3000


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Record:
    folder = sealed_record(tmp_path_factory.mktemp("records"), 20)
    sign_record(folder, supervisor(), meaning="reviewed", wall=WALL)
    return read_record(folder)


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> Record:
    """A record with everything beside it that it names."""
    return read_record(whole_session(tmp_path_factory.mktemp("whole")))


def unpacked(record: Record, place: Path, **how: bool) -> Path:
    with zipfile.ZipFile(io.BytesIO(archive_bytes(record, summary(), **how))) as archive:
        archive.extractall(place)
    return place


def verified(place: Path) -> tuple[int, list[str]]:
    """Exit code and lines of the archive's own verifier, run without this project and without any package."""
    done = subprocess.run(
        [sys.executable, "-I", "-S", "independent_verifier.py", "record.jsonl"],
        cwd=place,
        capture_output=True,
        text=True,
    )
    assert done.stderr == ""
    return done.returncode, done.stdout.splitlines()


def text_of(data: bytes) -> list[str]:
    return [page.extract_text() for page in PdfReader(io.BytesIO(data)).pages]


@pytest.mark.parametrize(("size", "points"), [("a4", (595, 842)), ("letter", (612, 792))])
def test_the_first_page_holds_verdict_times_deviations_and_what_is_unanswered(
    record: Record, size: str, points: tuple
):
    pages = text_of(pdf_bytes(record, summary(), size))
    box = PdfReader(io.BytesIO(pdf_bytes(record, summary(), size))).pages[0].mediabox
    assert (round(box.width), round(box.height)) == points
    for wanted in (
        "The clean stands, with two deviations.",
        "2026-03-14 09:15:00 +01:00",
        "20 min 10 s",
        "8 min 0 s",
        "The panel was open longer than 3 min.",
        "not decided",
        "Was the torn wipe counted out?",
        "S. Supervisor",
        "reviewed",
        "T. Technician",
        "W. Witness",
        "Gauntlet 0.1.0",
    ):
        assert wanted in pages[0], wanted


def test_a_step_begun_twice_counts_once_and_says_how_each_beginning_ended(record: Record):
    rows = (
        StepRow("1", "Wipe the wall.", 0, 5, "undone", "single; it was taken back"),
        StepRow("2", "Wipe the floor.", 6, None, "interrupted"),
        StepRow("1", "Wipe the wall.", 7, 9, "redone", "single"),
        StepRow("2", "Wipe the floor.", 9, 12, "done", "single"),
        StepRow("3", "Close the door.", 13, None, "not ended"),
        StepRow("4", "Start the purge.", None, None, "not begun"),
    )
    pages = text_of(pdf_bytes(record, replace(summary(), steps=rows)))
    assert "2 of 4" in pages[0]
    for word in ("undone", "interrupted", "redone", "not ended", "not begun"):
        assert word in pages[1], word


def test_the_first_page_counts_deviations_that_nobody_decided_on(record: Record):
    known = summary()
    assert "1 deviation, 1 question" in text_of(
        pdf_bytes(record, known)
    )[0].replace("\n", " ")
    decided = replace(known, deviations=tuple(replace(r, answer="reviewed") for r in known.deviations))
    assert "0 deviations, 1 question" in text_of(pdf_bytes(record, decided))[0].replace("\n", " ")


def test_facts_are_printed_with_their_units():
    said = detail({"started_ms": 1500, "confidence_pm": 651, "scores": [["main", -452], ["words_s", 690]], "ok": True})
    assert said == "started: 1500 ms; confidence: 65.1 %; scores: main -0.452, words_s 0.69; ok: yes"
    assert detail({"scores": [1, ["a"]], "x_ms": True, "deep": {"gap_ms": 2}}) == "scores: 1, a; x ms: yes; deep: {gap: 2 ms}"


def test_a_correction_is_printed_with_the_lines_that_it_takes_back():
    record = read_record(Path(__file__).parents[1] / "golden" / "records" / "demo-v2" / "record.jsonl")
    (correction, taken), = corrected_lines(record.lines).items()
    rows = {int(row["line"]): row for row in csv.DictReader(io.StringIO(csv_bytes(record).decode(), newline=""))}
    assert rows[taken]["kind"] == "step_confirmed" and taken < correction
    assert json.loads(rows[taken]["data"])["step"] == json.loads(rows[correction]["data"])["step"]
    assert rows[correction]["detail"].startswith(f"takes back line {taken}; ")
    pages = " ".join(text_of(pdf_bytes(record, summary()))).replace("\n", " ")
    assert f"takes back line {taken}" in pages


def test_odd_corrections_take_back_nothing(tmp_path: Path):
    writer = new_record(tmp_path)
    for step in (7, None, ["x"], "never done", {"a": 1}):
        writer.append([{"kind": "correction_made", "v": 1, "data": {"step": step}}], 1, WALL)
    writer.append([{"kind": "step_confirmed", "v": 1, "data": {"step": ["x"]}}], 1, WALL)
    assert corrected_lines(read_record(writer.folder).lines) == {}


def test_the_first_line_has_a_row_for_each_thing_it_says(tmp_path: Path):
    folder = sealed_record(tmp_path)
    pages = text_of(pdf_bytes(read_record(folder), summary()))
    last = "\n".join(pages)
    assert "technician\nT. Technician" in last and "revision\n3" in last


def test_every_page_carries_the_seal_how_to_check_it_and_its_number(record: Record):
    pages = text_of(pdf_bytes(record, summary()))
    assert len(pages) >= 3 and record.seal
    for number, page in enumerate(pages, 1):
        assert record.seal.sha256 in page and "independent_verifier.py" in page
        assert f"page {number} of {len(pages)}" in page


def test_every_line_of_the_record_is_in_the_report_and_in_the_csv(record: Record):
    report = "\n".join(text_of(pdf_bytes(record, summary())))
    rows = list(csv.DictReader(io.StringIO(csv_bytes(record).decode(), newline="")))
    assert [int(row["line"]) for row in rows] == [line.seq for line in record.lines]
    assert [row["sha256"] for row in rows] == [line.sha256 for line in record.lines]
    for number in range(0, 20, 2):
        assert f"Step {number}." in report
    for step in summary().steps:
        assert step.text.split(",")[0] in report
    for bar in summary().bars:
        assert bar.what in report


def test_a_long_fact_is_printed_to_its_end(tmp_path: Path):
    writer = new_record(tmp_path)
    writer.append([spoken(" ".join(f"word{n}" for n in range(1500)))], 1, WALL)
    report = " ".join(text_of(pdf_bytes(read_record(writer.folder), summary()))).replace("\n", "")
    assert [n for n in range(1500) if f"word{n}" not in report] == []


def test_reports_and_archive_come_out_the_same_to_the_byte_in_another_process(
    session: Record, tmp_path: Path
):
    record = session
    program = (
        "import sys, hashlib\n"
        "from assistant.record.export.archive import archive_bytes\n"
        "from assistant.record.export.tag import label_pdf\n"
        "from assistant.record.reader import read_record\n"
        "from tests.record.support import summary\n"
        "r = read_record(sys.argv[1])\n"
        "print(hashlib.sha256(archive_bytes(r, summary()) + label_pdf(r, summary())).hexdigest())\n"
    )
    copy = tmp_path / "elsewhere" / "GB-2" / record.folder.name
    shutil.copytree(record.folder, copy)
    out = subprocess.run(
        [sys.executable, "-c", program, str(copy)],
        capture_output=True,
        text=True,
        check=True,
        cwd=Path(__file__).parents[2],
        env={**os.environ, "TZ": "Asia/Tokyo", "PYTHONHASHSEED": "7"},
    )
    here = hashlib.sha256(archive_bytes(record, summary()) + label_pdf(record, summary())).hexdigest()
    assert out.stdout.strip() == here


def test_the_archive_is_verified_with_sha256sum_and_bare_python_alone(session: Record, tmp_path: Path):
    out = unpacked(session, tmp_path / "out")
    names = {path.relative_to(out).as_posix() for path in out.rglob("*") if path.is_file()}
    assert session.folder
    beside = {p.relative_to(session.folder).as_posix() for p in session.folder.rglob("*") if p.suffix}
    assert {name for name in beside if not name.startswith(".")} <= names
    assert names - beside == {
        "facts.csv", "report-a4.pdf", "report-letter.pdf", "HOW_TO_VERIFY.txt", "independent_verifier.py", "SHA256SUMS",
    }  # fmt: skip
    for line in (out / "SHA256SUMS").read_text().splitlines():
        sha, name = line.split("  ")
        assert hashlib.sha256((out / name).read_bytes()).hexdigest() == sha
    assert verified(out) == (0, ["Whole and sealed.", "7 of 7 named files are here. Not as named: none."])
    if shutil.which("sha256sum") and shutil.which("sed"):
        subprocess.run(["sha256sum", "--quiet", "-c", "SHA256SUMS"], cwd=out, check=True)
        command = next(
            row.strip() for row in how_to_verify(session).splitlines() if row.strip().startswith("sed")
        )
        done = subprocess.run(["sh", "-c", command], cwd=out, capture_output=True, text=True, check=True)
        assert session.seal and done.stdout.split()[0] == session.seal.sha256


@pytest.mark.parametrize("part", ["clips", "scans", "site", "site/agents", "approvals", "tails", "session.wav"])
def test_the_archives_own_verifier_names_whatever_beside_the_record_was_changed(
    session: Record, tmp_path: Path, part: str
):
    out = unpacked(session, tmp_path)
    path = next(p for p in [out / part, *sorted((out / part).glob("*"))] if p.is_file())
    path.write_bytes(path.read_bytes() + b" ")
    code, said = verified(out)
    assert code == 2 and path.relative_to(out).as_posix() in said[1]


def test_files_of_one_name_in_two_folders_are_each_held(tmp_path: Path):
    """Both are there, both as they were, but each in the other's place: their last names alone would show nothing."""
    texts = {"gb-2/steps.yaml": b"in place: gb-2\n", "parts/steps.yaml": b"in place: parts\n"}
    files = [{"file": f"procedures/{name}", "sha256": hashlib.sha256(text).hexdigest()} for name, text in texts.items()]
    writer = new_record(tmp_path, header={"files": files})
    for name, text in texts.items():
        (writer.folder / "site" / name).parent.mkdir(parents=True)
        (writer.folder / "site" / name).write_bytes(text)
    writer.seal(1, WALL, verdict="stands")
    out = unpacked(read_record(writer.folder), tmp_path / "out")
    assert verified(out) == (0, ["Whole and sealed.", "2 of 2 named files are here. Not as named: none."])
    for name, other in zip(texts, reversed(texts), strict=True):
        (out / "site" / name).write_bytes(texts[other])
    code, said = verified(out)
    assert code == 2 and all(f"site/{name}" in said[1] for name in texts)


def test_an_open_records_room_is_whole_for_the_archives_own_verifier(tmp_path: Path):
    writer = new_record(tmp_path)
    writer.append([spoken()], 1, WALL)
    out = unpacked(read_record(writer.folder), tmp_path / "out")
    assert verified(out)[0] == 1 and verified(out)[1][0] == "Whole, but not sealed."
    lines = resources.files("assistant.record.export").joinpath("independent_verifier.py.txt").read_text().splitlines()
    assert len(lines) <= 40


def test_a_deleted_clip_and_sound_leave_the_record_whole(session: Record, tmp_path: Path):
    out = unpacked(session, tmp_path)
    (out / "session.wav").unlink()
    next((out / "clips").iterdir()).unlink()
    assert verified(out) == (0, ["Whole and sealed.", "5 of 7 named files are here. Not as named: none."])


def test_an_archive_without_the_sound_says_so(session: Record, tmp_path: Path):
    out = unpacked(session, tmp_path, sound=False)
    assert not (out / "session.wav").exists() and verified(out)[0] == 0
    assert "Not in this archive: session.wav" in (out / "HOW_TO_VERIFY.txt").read_text()


@pytest.mark.skipif(os.name == "nt", reason="making links needs rights on Windows")
def test_links_in_a_session_lead_nowhere(session: Record, tmp_path: Path):
    assert session.folder
    copy = tmp_path / "GB-2" / session.folder.name
    shutil.copytree(session.folder, copy)
    (tmp_path / "secret.txt").write_text("secret")
    (copy / "clips" / "link.flac").symlink_to(tmp_path / "secret.txt")
    shutil.rmtree(copy / "approvals")
    (copy / "approvals").symlink_to(tmp_path)
    (copy / "session.wav").unlink()
    (copy / "session.wav").symlink_to(tmp_path / "secret.txt")
    data = archive_bytes(read_record(copy), summary())
    names = zipfile.ZipFile(io.BytesIO(data)).namelist()
    assert "site/gb-2.yaml" in names
    assert not [n for n in names if "link" in n or "approvals" in n or "session" in n]
    assert b"secret" not in data


@pytest.mark.parametrize("kind", ["practice", "demo", "script"])
def test_a_record_that_is_not_live_says_so_on_every_page_and_on_the_label(tmp_path: Path, kind: str):
    record = read_record(sealed_record(tmp_path, kind=kind))
    pages = text_of(pdf_bytes(record, summary()))
    assert f"This is a {kind} record. Nothing was cleaned." in pages[0]
    assert all(f"{kind.upper()}, NOT A CLEAN" in page for page in pages[1:])
    released = replace(summary(), released="S. Supervisor, today")
    assert status(record, released) == f"{kind.upper()}: nothing was cleaned"


def test_an_open_record_says_so_on_every_page_and_is_never_released(tmp_path: Path):
    writer = new_record(tmp_path)
    writer.append([spoken()], 1, WALL)
    record = read_record(writer.folder)
    assert all("NOT SEALED" in page for page in text_of(pdf_bytes(record, summary())))
    assert status(record, replace(summary(), released="S.")) == "NOT FINISHED"


def test_hostile_text_breaks_no_page_no_row_and_no_label(tmp_path: Path):
    writer = new_record(tmp_path)
    writer.append([spoken(MESS), spoken("漢" * 5000), spoken("=cmd|' /C calc'!A0")], 1, WALL)
    writer.append(
        [
            {
                "kind": "heard",
                "v": 1,
                "data": {"=1+1": MESS, "list": [MESS] * 3, "deep": {"a": {"b": [1, True]}}},
            }
        ],
        2,
        WALL,
    )
    writer.seal(3, WALL, verdict=MESS)
    record = read_record(writer.folder)
    hostile = replace(
        summary(),
        title=MESS,
        site=MESS,
        enclosure=MESS,
        technician=MESS,
        verdict=MESS,
        cleaned=MESS,
        fit_rule=MESS,
        release_rule=MESS,
        revision=MESS,
        started_wall=MESS,
        ended_wall=MESS,
        unanswered=(MESS,),
        witnesses=(MESS,),
        deviations=(Remark(1, 1, MESS, MESS),),
        steps=(StepRow(MESS, MESS, 0, 1, "done", MESS),),
        bars=(Bar(MESS, MESS, 0, 10**9, 1, "open"),),
        with_what=((MESS, MESS),),
    )
    for size in ("a4", "letter"):
        pages = text_of(pdf_bytes(record, hostile, size))
        assert "<U+6F22>" in "".join(pages).replace("\n", "")
    assert "\x1b" not in label_text(record, hostile) and "\u202e" not in label_text(record, hostile)
    label_pdf(record, hostile)
    rows = csv_bytes(record).decode()
    assert not set(rows) & set("\x1b\u202e\x00")
    assert all(
        not cell[:1] or cell[0] not in "=+-@"
        for row in csv.reader(io.StringIO(rows, newline=""))
        for cell in row
    )


def test_many_bars_and_odd_times_make_a_drawing():
    for bars, length in (
        ((), 0),
        (summary().bars, 0),
        (summary().bars * 6, 10),
        (summary().bars, 8 * 3_600_000),
    ):
        drawing = time_line(bars, length, 500)
        assert drawing.height > 0
    assert len(text_of(pdf_bytes(Record(None, [], None), replace(summary(), bars=summary().bars * 14)))) >= 3


def test_the_label_says_not_released_until_released_and_never_a_beyond_use_date(record: Record):
    held = label_text(record, summary())
    assert (
        held.startswith("NOT RELEASED")
        and NOT_BEYOND_USE in held
        and record.seal
        and record.seal.sha256 in held
    )
    for wanted in (
        "Work area and airlock",
        "2026-03-14 09:35:10 +01:00",
        "T. Technician",
        "2026-03-14 17:35:10 +01:00",
        "8 hours after the end",
    ):
        assert wanted in held
    released = replace(summary(), released="S. Supervisor, 2026-03-14 10:00 +01:00")
    assert status(record, released) == "Released"
    assert NOT_BEYOND_USE in "".join(text_of(label_pdf(record, released)))


@pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="needs pdftoppm to draw the page")
def test_the_labels_code_is_read_back_by_another_library(record: Record, tmp_path: Path):
    """Drawn by poppler, read by ZXing: neither knows how the code was made."""
    zxingcpp = pytest.importorskip("zxingcpp")
    from PIL import Image

    (tmp_path / "label.pdf").write_bytes(label_pdf(record, summary()))
    subprocess.run(["pdftoppm", "-r", "150", "-gray", "-png", "label.pdf", "label"], cwd=tmp_path, check=True)
    found = zxingcpp.read_barcodes(Image.open(next(tmp_path.glob("label*.png"))))
    assert [code.text for code in found] == [qr_text(record)]
    assert record.seal and record.seal.sha256 in found[0].text
