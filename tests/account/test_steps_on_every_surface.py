"""The table of steps is one: page, report and archive show the same rows in the same words, of every golden record."""

from __future__ import annotations

import html
import io
import re
from pathlib import Path

import pypdf
import pytest

from assistant.account.reading import load_session
from assistant.account.steps import step_rows
from assistant.record.export.pdf import pdf_bytes
from assistant.record.reader import read_record
from assistant.review.serving.call import fragment
from assistant.review.session.opened import open_session
from assistant.session.facts import steps
from assistant.station.account.summary import summarise

RECORDS = sorted(p.parent for p in (Path(__file__).parents[1] / "golden" / "records").glob("*/record.jsonl"))


def on_the_page(folder: Path) -> list[tuple[str, str, str, tuple[str, ...]]]:
    """Number, text, outcome and notes of each row, read off the page's own HTML."""
    opened = open_session(folder)
    rows = step_rows(opened.facts, opened.plan, opened.lines, opened.state_at(opened.end_ms))
    found = []
    for row in re.findall(r"<tr.*?</tr>", fragment("_steps.html", steps=rows, url=""), flags=re.S)[1:]:
        cells = re.findall(r"<td[^>]*>(.*?)</td>", row, flags=re.S)
        said, *notes = re.split(r'<div class="note">', cells[2])
        found.append((plain(cells[1]), plain(said), plain(cells[4]).casefold(), tuple(plain(note) for note in notes)))
    return found


def plain(markup: str) -> str:
    return " ".join(html.unescape(re.sub(r"<svg.*?</svg>|<[^>]+>", "", markup, flags=re.S)).split())


@pytest.mark.parametrize("folder", RECORDS, ids=lambda path: path.name)
def test_the_page_shows_the_rows_of_the_report_word_for_word(folder: Path) -> None:
    paper = [
        (row.number, row.text, row.outcome, tuple(filter(None, row.note.split("; "))))
        for row in summarise(read_record(folder)).steps
    ]
    page = [(number, text, outcome, tuple("; ".join(notes).split("; ")) if notes else ())
            for number, text, outcome, notes in on_the_page(folder)]
    assert page == paper
    assert len(page) > 10


@pytest.mark.parametrize("folder", RECORDS, ids=lambda path: path.name)
def test_the_printed_report_holds_every_row_in_order(folder: Path) -> None:
    record = read_record(folder)
    sheets = pypdf.PdfReader(io.BytesIO(pdf_bytes(record, summarise(record)))).pages
    text = "".join("".join(sheet.extract_text() for sheet in sheets).split())
    at = text.index("Confirmedby,note")
    answers = summarise(record).start_answers
    assert answers and all("".join(f"{question}{answer}".split()) in text[:at] for question, answer in answers)
    for number, said, outcome, _ in on_the_page(folder):
        found = text.find(number + "".join(said.split()), at)
        assert found >= 0, (number, said)
        at = found + 1
        assert "".join(outcome.split()) in text[at:]


@pytest.mark.parametrize("folder", RECORDS, ids=lambda path: path.name)
def test_every_beginning_of_a_step_has_a_row_of_its_own(folder: Path) -> None:
    opened = load_session(folder)
    rows = step_rows(opened.facts, opened.plan)
    begun = [(f.at_ms, f.step) for f in opened.facts if isinstance(f, steps.StepStarted)]
    assert [(row.at_ms, row.step) for row in rows] == begun
