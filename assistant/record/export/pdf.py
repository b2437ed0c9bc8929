"""The report as PDF: verdict, times, deviations and open questions first; then steps and time line; then every
fact. The same record gives the same bytes: nothing in it comes from the clock or the machine."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any, Literal

from reportlab.lib.colors import HexColor, white
from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.platypus import (
    BaseDocTemplate,
    Flowable,
    Frame,
    KeepTogether,
    LongTable,
    PageBreak,
    PageTemplate,
    Paragraph,
    Spacer,
    Table,
    TableStyle,
)

from assistant.record.chain import seed
from assistant.record.export.fonts import markup, shown, use_font
from assistant.record.export.pages import NumberedCanvas
from assistant.record.export.summary import Bar, ReportSummary
from assistant.record.export.time_line import FAINT, GREY, INK, time_line
from assistant.record.export.wording import clock, detail, length, wall
from assistant.record.reader import Record
from assistant.record.signatures import check_signature, standing_signatures

SIZES = {"a4": A4, "letter": LETTER}
MARGIN = 44.0
BAND, SOFT, WARN, WARN_SOFT = HexColor("#1f3a4d"), HexColor("#eef2f5"), HexColor("#a4401b"), HexColor("#fbeee8")
BARS_A_PAGE = 36


def pdf_bytes(record: Record, summary: ReportSummary, size: Literal["a4", "letter"] = "a4") -> bytes:
    """The whole report of a record. `summary` comes from folding the same record."""
    use_font()
    page = SIZES[size]
    out = io.BytesIO()
    document = BaseDocTemplate(out, pagesize=page, leftMargin=MARGIN, rightMargin=MARGIN, topMargin=MARGIN + 8,
                               bottomMargin=MARGIN + 28, invariant=1, title=shown(f"Cleaning record: {summary.title}", 200),
                               author=shown(summary.technician, 120), subject=shown(record.session, 200),
                               creator="Gauntlet")
    frame = Frame(document.leftMargin, document.bottomMargin, document.width, document.height, 0, 0, 0, 0)
    foot = seal_lines(record)
    document.addPageTemplates(PageTemplate("page", [frame]))
    story: list[Flowable] = []
    story += _first_page(record, summary, document.width)
    story += _steps(summary, document.width)
    story += _facts(record, document.width)
    document.build(story, canvasmaker=lambda *a, **k: NumberedCanvas(*a, foot=foot, head=_head(record, summary),
                                                                       margin=MARGIN, **k))
    return out.getvalue()


def seal_lines(record: Record) -> tuple[str, str]:
    """The two lines at the foot of each page: the seal, and how to check it."""
    seal = record.seal
    if seal is None:
        last = record.lines[-1].sha256 if record.lines else seed("live")
        return (f"NOT SEALED. SHA-256 of the last line so far: {last}",
                "This record was not finished. Check it: python3 independent_verifier.py record.jsonl")
    return (f"Seal, SHA-256 of line {seal.seq}: {seal.sha256}",
            f"Check it: sed -n {seal.seq}p record.jsonl | tr -d '\\n' | sha256sum   "
            "and: python3 independent_verifier.py record.jsonl")


def _head(record: Record, summary: ReportSummary) -> str:
    kind = "" if record.kind == "live" else f"{record.kind.upper()}, NOT A CLEAN.  "
    return kind + shown(f"{summary.enclosure}, {summary.title}, revision {summary.revision}", 110)


def _style(size: float, *, colour: Any = INK, leading: float | None = None, **more: Any) -> ParagraphStyle:
    return ParagraphStyle("x", fontName=use_font(), fontSize=size, leading=leading or size * 1.32, textColor=colour,
                          **more)


def _text(text: object, size: float = 9, *, limit: int = 500, **more: Any) -> Paragraph:
    return Paragraph(markup(text, limit), _style(size, **more))


def _heading(text: str) -> Flowable:
    return Paragraph(markup(text), _style(12.5, colour=BAND, spaceBefore=12, spaceAfter=5, keepWithNext=1))


def _box(rows: Sequence[Sequence[Any]], widths: Sequence[float], *, fill: Any, edge: Any) -> Table:
    table = Table(rows, widths)
    table.setStyle(TableStyle([("BACKGROUND", (0, 0), (-1, -1), fill), ("LINEBEFORE", (0, 0), (0, -1), 3, edge),
                               ("TOPPADDING", (0, 0), (-1, -1), 6), ("BOTTOMPADDING", (0, 0), (-1, -1), 7),
                               ("LEFTPADDING", (0, 0), (-1, -1), 10), ("VALIGN", (0, 0), (-1, -1), "MIDDLE")]))
    return table


def _pairs(rows: Sequence[tuple[str, str]], width: float) -> Table:
    table = Table([[_text(name, 8, colour=GREY), _text(value, 9, limit=400)] for name, value in rows],
                  [width * 0.34, width * 0.66])
    table.setStyle(TableStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), ("TOPPADDING", (0, 0), (-1, -1), 1.5),
                               ("BOTTOMPADDING", (0, 0), (-1, -1), 2.5), ("LEFTPADDING", (0, 0), (-1, -1), 0),
                               ("LINEBELOW", (0, 0), (-1, -2), 0.4, FAINT)]))
    return table


def _first_page(record: Record, summary: ReportSummary, width: float) -> list[Flowable]:
    story: list[Flowable] = []
    band = Table([[_text("Cleaning record", 19, colour=white),
                   _text(summary.site, 9.5, colour=white, alignment=TA_RIGHT)],
                  [_text(f"{summary.title}, revision {summary.revision}", 10.5, colour=white),
                   _text(summary.enclosure, 10.5, colour=white, alignment=TA_RIGHT)]], [width * 0.62, width * 0.38])
    band.setStyle(TableStyle([("BACKGROUND", (0, 0), (-1, -1), BAND), ("LEFTPADDING", (0, 0), (-1, -1), 12),
                              ("RIGHTPADDING", (0, 0), (-1, -1), 12), ("TOPPADDING", (0, 0), (-1, 0), 10),
                              ("BOTTOMPADDING", (0, -1), (-1, -1), 12), ("VALIGN", (0, 0), (-1, -1), "MIDDLE")]))
    story += [band, Spacer(1, 10)]
    if record.kind != "live":
        story += [_box([[_text(f"This is a {record.kind} record. Nothing was cleaned. It can't be signed.", 12, colour=WARN)]],
                       [width], fill=WARN_SOFT, edge=WARN), Spacer(1, 8)]
    trouble = bool(summary.deviations or summary.unanswered or record.problems or not record.seal)
    story += [_box([[_text("Verdict", 8, colour=GREY), _text(summary.verdict, 13, colour=WARN if trouble else BAND)]],
                   [width * 0.16, width * 0.84], fill=WARN_SOFT if trouble else SOFT, edge=WARN if trouble else BAND),
              Spacer(1, 9)]
    for problem in record.problems:
        story += [_text(f"Checking found: {problem}", 9.5, colour=WARN), Spacer(1, 3)]
    half = (width - 18) / 2
    left = [("Technician", summary.technician), *(("Witness", name) for name in summary.witnesses),
            ("Began", wall(summary.started_wall)), ("Ended", wall(summary.ended_wall)),
            ("Lasted", length(summary.duration_ms)), ("Spent waiting", length(summary.waiting_ms))]
    done = sum(step.outcome in ("done", "redone") for step in summary.steps)
    kept = sum(bar.outcome == "complete" for bar in summary.bars)
    right = [("Steps done", f"{done} of {len(summary.steps)}"), ("Waits kept", f"{kept} of {len(summary.bars)}"),
             ("Deviations", str(len(summary.deviations))), ("Unanswered", str(len(summary.unanswered))),
             ("Words heard", f"{summary.words_heard}, of them {summary.words_refused} refused"),
             ("Record", record.session or "\u2013")]
    columns = Table([[_pairs(left, half), "", _pairs(right, half)]], [half, 18, half])
    columns.setStyle(TableStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 0),
                                 ("RIGHTPADDING", (0, 0), (-1, -1), 0)]))
    story.append(columns)
    story.append(_heading("Deviations"))
    if summary.deviations:
        rows = [[clock(r.t_ms), f"line {r.line}", _text(r.text, 8.5), _text(r.answer or "not answered", 8.5,
                 colour=INK if r.answer else WARN)] for r in summary.deviations]
        story.append(_table(["Time", "Line", "What happened", "Supervisor's answer"], rows, width,
                            (0.10, 0.11, 0.45, 0.34)))
    else:
        story.append(_text("None.", 9))
    if summary.unanswered:
        story.append(_heading("Unanswered"))
        story += [_text(f"\u2022 {item}", 9) for item in summary.unanswered]
    story += _signatures(record, width)
    if summary.with_what:
        story.append(KeepTogether([_heading("Made with"), _pairs(summary.with_what, width)]))
    return story


def _signatures(record: Record, width: float) -> list[Flowable]:
    story: list[Flowable] = [_heading("Signatures")]
    standing = {line.seq for line in standing_signatures(record)}
    rows = []
    for line in record.after_seal:
        checked = check_signature(line)
        state = checked.problem or ("withdraws line " + str(line.data.get("withdraws")) if line.kind == "record_withdrawn"
                                    else "stands" if line.seq in standing else "withdrawn later")
        rows.append([_text(checked.name, 8.5), _text(wall(line.wall), 8.5), _text(checked.meaning, 8.5),
                     _text(checked.key_id, 8), _text(f"line {line.seq}: {state}", 8.5)])
    if rows:
        story.append(_table(["Printed name", "Signed at", "Meaning", "Key", "State"], rows, width,
                            (0.22, 0.25, 0.18, 0.16, 0.19)))
    else:
        story.append(_text("Not signed.", 9))
    return story


def _steps(summary: ReportSummary, width: float) -> list[Flowable]:
    story: list[Flowable] = [PageBreak(), _heading("Steps")]
    rows = [[_text(step.number, 8), _text(step.text, 8.5), clock(step.started_ms), clock(step.ended_ms),
             _text(step.outcome, 8.5, colour=INK if step.outcome == "done" else WARN),
             _text("; ".join(filter(None, (step.by, step.note))), 8)] for step in summary.steps]
    story.append(_table(["No.", "Step", "Began", "Ended", "How", "Confirmed by, note"], rows, width,
                        (0.08, 0.42, 0.1, 0.1, 0.1, 0.2)) if rows else _text("None.", 9))
    if summary.bars:
        bars = list(summary.bars)
        for start in range(0, len(bars), BARS_A_PAGE):
            story.append(KeepTogether([_heading("Contacts and cycles on the time line"),
                                       time_line(bars[start:start + BARS_A_PAGE], summary.duration_ms, width)]))
        story.append(_text("Filled: complete. Hatched: dried too early. Dashed: void, or not ended. "
                           "Round ends: a cycle of the enclosure. Upright mark: wetted again.", 7.5, colour=GREY))
        story += [Spacer(1, 6), _bar_table(bars, width)]
    return story


def _bar_table(bars: Sequence[Bar], width: float) -> Flowable:
    rows = [[_text(bar.what, 8), _text(bar.with_what, 8), length(bar.required_ms), length(bar.end_ms - bar.start_ms),
             f"{len(bar.rewets_ms)}" if bar.kind == "contact" else "\u2013",
             _text({"open": "not ended"}.get(bar.outcome, bar.outcome), 8,
                   colour=INK if bar.outcome == "complete" else WARN)] for bar in bars]
    return _table(["Surface or cycle", "Agent", "Asked for", "Kept", "Re-wet", "Outcome"], rows, width,
                  (0.28, 0.26, 0.14, 0.14, 0.08, 0.10))


def _facts(record: Record, width: float) -> list[Flowable]:
    story: list[Flowable] = [PageBreak(), _heading("Every line of the record")]
    rows = [[str(line.seq), clock(line.t_ms) + f".{line.t_ms % 1000:03d}", _text(wall(line.wall), 6.5),
             _text(line.kind.replace("_", " "), 7), _text(detail(line.data), 6.8, limit=1600)] for line in record.lines]
    if rows:
        story.append(_table(["Line", "Session time", "Wall time", "Kind", "What it says"], rows, width,
                            (0.06, 0.115, 0.195, 0.14, 0.49), size=7))
    return story


def _table(head: Sequence[str], rows: Sequence[Sequence[Any]], width: float, shares: Sequence[float],
           size: float = 8.5) -> Table:
    table = LongTable([[_text(name, 7.5, colour=white) for name in head], *rows], [width * share for share in shares],
                      repeatRows=1)
    table.setStyle(TableStyle([
        ("FONT", (0, 1), (-1, -1), use_font(), size), ("TEXTCOLOR", (0, 1), (-1, -1), INK),
        ("BACKGROUND", (0, 0), (-1, 0), BAND), ("ROWBACKGROUNDS", (0, 1), (-1, -1), [white, SOFT]),
        ("VALIGN", (0, 0), (-1, -1), "TOP"), ("TOPPADDING", (0, 0), (-1, -1), 2.5),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 3), ("LEFTPADDING", (0, 0), (-1, -1), 4),
        ("RIGHTPADDING", (0, 0), (-1, -1), 4), ("LINEBELOW", (0, -1), (-1, -1), 0.6, BAND)]))
    return table
