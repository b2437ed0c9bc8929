"""The status label for the door: what was cleaned, when, by whom, fit until when, released or not, and the
seal as text and as a QR code."""

from __future__ import annotations

import io

import segno
from reportlab.lib.colors import HexColor, black, white
from reportlab.lib.pagesizes import A6
from reportlab.lib.utils import simpleSplit
from reportlab.pdfgen.canvas import Canvas

from assistant.record.export.fonts import shown, use_font
from assistant.record.export.printed import wall
from assistant.record.export.summary import ReportSummary
from assistant.record.reader import Record

CODE_PT = 118  # about 42 mm: read from an arm's length
NOT_BEYOND_USE = "This is not a beyond-use date."
_INK, _GREY, _WARN = HexColor("#1c2733"), HexColor("#5b6b7a"), HexColor("#a4401b")


def qr_text(record: Record) -> str:
    """What the code holds: which record, and the seal."""
    seal = record.seal
    return f"{record.session} {record.kind} {seal.sha256 if seal else 'not sealed'}"


def status(record: Record, summary: ReportSummary) -> str:
    """One line in large letters. Only a live, sealed record that the site's rule released says so."""
    if record.kind != "live":
        return f"{record.kind.upper()}: nothing was cleaned"
    if record.seal is None or record.problems:
        return "NOT FINISHED"
    return "Released" if summary.released else "NOT RELEASED"


def label_lines(record: Record, summary: ReportSummary) -> list[tuple[str, str]]:
    """Name and value of each line, for screen and paper alike."""
    fit = wall(summary.fit_until_wall) if summary.fit_until_wall else "no rule of the site names a time"
    if status(record, summary) not in ("Released", "NOT RELEASED"):
        fit = "\u2013"
    released = summary.released or "not released" + (
        f" (rule: {summary.release_rule})" if summary.release_rule else ""
    )
    seal = record.seal.sha256 if record.seal else "not sealed"
    return [
        ("Enclosure", ", ".join(filter(None, (summary.enclosure, summary.site)))),
        ("Cleaned", summary.cleaned or summary.title),
        ("Procedure", f"{summary.title}, revision {summary.revision}"),
        ("Ended", wall(summary.ended_wall)),
        ("By", ", ".join((summary.technician, *summary.witnesses))),
        ("Verdict", summary.verdict),
        ("Fit until", fit + (f" (rule: {summary.fit_rule})" if summary.fit_rule and fit != "\u2013" else "")),
        ("Released", released),
        ("Record", record.session),
        ("Seal", seal),
    ]


def label_text(record: Record, summary: ReportSummary) -> str:
    """The label for a terminal or a plain printer, with the code as blocks."""
    qr = io.StringIO()
    segno.make(qr_text(record), error="m", micro=False).terminal(qr, compact=True, border=2)
    rows = [f"{name + ':':<11}{shown(value, 300)}" for name, value in label_lines(record, summary)]
    return "\n".join([shown(status(record, summary)), "", *rows, "", NOT_BEYOND_USE, "", qr.getvalue()])


def label_pdf(record: Record, summary: ReportSummary) -> bytes:
    """The label as an A6 page; the same record gives the same bytes."""
    font = use_font()
    out = io.BytesIO()
    width, height = A6
    page = Canvas(out, pagesize=A6, invariant=1)
    page.setTitle(shown(f"Status label {record.session}", 200))
    head = status(record, summary)
    good = head == "Released"
    page.setFillColor(_INK if good else _WARN)
    page.rect(0, height - 46, width, 46, stroke=0, fill=1)
    page.setFillColor(white)
    page.setFont(font, 18 if len(head) < 22 else 13)
    page.drawString(16, height - 31, shown(head))
    rows = _rows(record, summary, font, width - 78, height - 62 - CODE_PT - 26)
    y = height - 62
    for name, size, texts in rows:
        page.setFont(font, 7)
        page.setFillColor(_GREY)
        page.drawString(16, y, name)
        page.setFillColor(_INK)
        page.setFont(font, size)
        for text in texts:
            page.drawString(62, y, text)
            y -= size * 1.25
        y -= size * 0.49
    _code(page, record, width)
    page.setFillColor(_INK)
    page.setFont(font, 8.5)
    page.drawString(16, 40, NOT_BEYOND_USE)
    page.setFont(font, 6.5)
    page.setFillColor(_GREY)
    page.drawString(16, 28, "The code holds the record's name and the seal.")
    page.showPage()
    page.save()
    return out.getvalue()


def _rows(
    record: Record, summary: ReportSummary, font: str, width: float, height: float
) -> list[tuple[str, float, list[str]]]:
    """Name, size and lines of each value, in the largest print that leaves the code its room."""
    for size in (10.4, 9.4, 8.4, 7.4, 6.4, 5.9):
        rows = []
        for name, value in label_lines(record, summary):
            if name == "Seal" and len(value) == 64:  # two lines, large enough to be read out
                rows.append((name, 7.4, [value[:32], value[32:]]))
                continue
            fits = min(size, 10.4) if name in ("Record", "Seal") else size
            rows.append((name, fits, simpleSplit(shown(value, 220), font, fits, width)[:3]))
        if sum(fits * (1.25 * len(texts) + 0.49) for _, fits, texts in rows) <= height:
            break
    return rows


def _code(page: Canvas, record: Record, width: float) -> None:
    matrix = [list(row) for row in segno.make(qr_text(record), error="m", micro=False).matrix]
    cell = CODE_PT / (len(matrix) + 8)  # four cells of quiet zone all round (ISO/IEC 18004)
    left, bottom = width - 16 - CODE_PT, 14
    page.setFillColor(white)
    page.rect(left, bottom, CODE_PT, CODE_PT, stroke=0, fill=1)
    page.setFillColor(black)
    for r, row in enumerate(matrix):
        for c, dark in enumerate(row):
            if dark:
                page.rect(
                    left + (c + 4) * cell, bottom + CODE_PT - (r + 5) * cell, cell, cell, stroke=0, fill=1
                )
