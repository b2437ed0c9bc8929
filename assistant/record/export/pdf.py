"""The report as PDF: verdict, times, deviations and open questions first; then steps and time line; then
every fact. The same record gives the same bytes: nothing in it comes from the clock or the machine."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any, Literal

from reportlab.lib.colors import white
from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.platypus import (
    BaseDocTemplate,
    Flowable,
    Frame,
    KeepTogether,
    PageBreak,
    PageTemplate,
    Spacer,
    Table,
    TableStyle,
)

from assistant.record.export.corrections import corrected_lines, corrects
from assistant.record.export.fonts import shown, use_font
from assistant.record.export.layout import BAND, SOFT, WARN, WARN_SOFT, box, heading, pairs, para, table
from assistant.record.export.pages import NumberedCanvas
from assistant.record.export.printed import clock, detail, length, pieces, wall
from assistant.record.export.summary import LATE, Bar, ReportSummary
from assistant.record.export.time_line import GREY, INK, time_line
from assistant.record.lines.chain import seed
from assistant.record.lines.envelope import Line
from assistant.record.reader import Record
from assistant.record.signing.checking import check_signature, standing_signatures

SIZES = {"a4": A4, "letter": LETTER}
MARGIN = 44.0
BARS_A_PAGE = 36
ROW_CHARACTERS = 1500
EVERYTHING = 1 << 26


def pdf_bytes(record: Record, summary: ReportSummary, size: Literal["a4", "letter"] = "a4") -> bytes:
    """The whole report of a record. `summary` comes from folding the same record."""
    use_font()
    page = SIZES[size]
    out = io.BytesIO()
    document = BaseDocTemplate(
        out,
        pagesize=page,
        leftMargin=MARGIN,
        rightMargin=MARGIN,
        topMargin=MARGIN + 8,
        bottomMargin=MARGIN + 28,
        invariant=1,
        title=shown(f"Cleaning record: {summary.title}", 200),
        author=shown(summary.technician, 120),
        subject=shown(record.session, 200),
        creator="Gauntlet",
    )
    frame = Frame(document.leftMargin, document.bottomMargin, document.width, document.height, 0, 0, 0, 0)
    foot = seal_lines(record)
    document.addPageTemplates(PageTemplate("page", [frame]))
    story: list[Flowable] = []
    story += _first_page(record, summary, document.width)
    story += _steps(summary, document.width)
    story += _facts(record, document.width)
    document.build(
        story,
        canvasmaker=lambda *a, **k: NumberedCanvas(
            *a, foot=foot, head=_head(record, summary), margin=MARGIN, **k
        ),
    )
    return out.getvalue()


def seal_lines(record: Record) -> tuple[str, str]:
    """The two lines at the foot of each page: the seal, and how to check it."""
    seal = record.seal
    if seal is None:
        last = record.lines[-1].sha256 if record.lines else seed("live")
        return (
            f"NOT SEALED. SHA-256 of the last line so far: {last}",
            "This record was not finished. Check it: python3 independent_verifier.py record.jsonl",
        )
    return (
        f"Seal, SHA-256 of line {seal.seq}: {seal.sha256}",
        f"Check it: sed -n {seal.seq}p record.jsonl | tr -d '\\n' | sha256sum   "
        "and: python3 independent_verifier.py record.jsonl",
    )


def _head(record: Record, summary: ReportSummary) -> str:
    kind = "" if record.kind == "live" else f"{record.kind.upper()}, NOT A CLEAN.  "
    return kind + shown(f"{summary.enclosure}, {summary.title}, revision {summary.revision}", 110)


def _first_page(record: Record, summary: ReportSummary, width: float) -> list[Flowable]:
    story: list[Flowable] = []
    band = Table(
        [
            [
                para("Cleaning record", 19, colour=white),
                para(summary.site, 9.5, colour=white, alignment=TA_RIGHT),
            ],
            [
                para(f"{summary.title}, revision {summary.revision}", 10.5, colour=white),
                para(summary.enclosure, 10.5, colour=white, alignment=TA_RIGHT),
            ],
        ],
        [width * 0.62, width * 0.38],
    )
    band.setStyle(
        TableStyle(
            [
                ("BACKGROUND", (0, 0), (-1, -1), BAND),
                ("LEFTPADDING", (0, 0), (-1, -1), 12),
                ("RIGHTPADDING", (0, 0), (-1, -1), 12),
                ("TOPPADDING", (0, 0), (-1, 0), 10),
                ("BOTTOMPADDING", (0, -1), (-1, -1), 12),
                ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
            ]
        )
    )
    story += [band, Spacer(1, 10)]
    if record.kind != "live":
        story += [
            box(
                [
                    [
                        para(
                            f"This is a {record.kind} record. Nothing was cleaned. It can't be signed.",
                            12,
                            colour=WARN,
                        )
                    ]
                ],
                [width],
                fill=WARN_SOFT,
                edge=WARN,
            ),
            Spacer(1, 8),
        ]
    trouble = bool(summary.deviations or summary.unanswered or record.problems or not record.seal)
    story += [
        box(
            [
                [
                    para("Verdict", 8, colour=GREY),
                    para(summary.verdict, 13, colour=WARN if trouble else BAND),
                ]
            ],
            [width * 0.16, width * 0.84],
            fill=WARN_SOFT if trouble else SOFT,
            edge=WARN if trouble else BAND,
        ),
        Spacer(1, 9),
    ]
    if summary.start_answers:
        story += [pairs(summary.start_answers, width), Spacer(1, 6)]
    for problem in record.problems:
        story += [para(f"Checking found: {problem}", 9.5, colour=WARN), Spacer(1, 3)]
    half = (width - 18) / 2
    left = [
        ("Technician", summary.technician),
        *(("Witness", name) for name in summary.witnesses),
        ("Began", wall(summary.started_wall)),
        ("Ended", wall(summary.ended_wall)),
        ("Lasted", length(summary.duration_ms)),
        ("Spent waiting", length(summary.waiting_ms)),
    ]
    # A step may be begun twice; it counts once.
    done = {(s.number, s.text) for s in summary.steps if s.outcome in ("done", "redone")}
    asked = {(s.number, s.text) for s in summary.steps}
    kept = sum(bar.outcome == "complete" for bar in summary.bars)
    unanswered = sum(not remark.answer for remark in summary.deviations)
    late = sum(step.outcome == LATE for step in summary.steps)
    right = [
        ("Late entries", str(late)) if late else ("Steps done", f"{len(done)} of {len(asked)}"),
        ("Waits", f"{kept} kept" + (f", {len(summary.bars) - kept} not" if kept < len(summary.bars) else "")),
        ("Deviations", str(len(summary.deviations))),
        ("Unanswered", f"{_many(unanswered, 'deviation')}, {_many(len(summary.unanswered), 'question')}"),
        ("Words heard", f"{summary.words_heard}, of them {summary.words_refused} refused"),
        ("Record", record.session or "\u2013"),
    ]
    columns = Table([[pairs(left, half), "", pairs(right, half)]], [half, 18, half])
    columns.setStyle(
        TableStyle(
            [
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
                ("RIGHTPADDING", (0, 0), (-1, -1), 0),
            ]
        )
    )
    story.append(columns)
    story.append(heading("Deviations"))
    if summary.deviations:
        rows = [
            [
                clock(r.t_ms),
                f"line {r.line}",
                para(r.text, 8.5),
                para(r.answer or "not decided", 8.5, colour=INK if r.answer else WARN),
            ]
            for r in summary.deviations
        ]
        story.append(
            table(
                ["Time", "Line", "What happened", "Decided"],
                rows,
                width,
                (0.10, 0.11, 0.45, 0.34),
            )
        )
    else:
        story.append(para("None.", 9))
    if summary.unanswered:
        story.append(heading("Unanswered"))
        story += [para(f"\u2022 {item}", 9) for item in summary.unanswered]
    story += _signatures(record, width)
    if summary.with_what:
        story.append(KeepTogether([heading("Made with"), pairs(summary.with_what, width)]))
    return story


def _signatures(record: Record, width: float) -> list[Flowable]:
    story: list[Flowable] = [heading("Signatures")]
    standing = {line.seq for line in standing_signatures(record)}
    rows = []
    for line in record.after_seal:
        checked = check_signature(line)
        state = checked.problem or (
            "withdraws line " + str(line.data.get("withdraws"))
            if line.kind == "record_withdrawn"
            else "stands"
            if line.seq in standing
            else "withdrawn later"
        )
        rows.append(
            [
                para(checked.name, 8.5, limit=160),
                para(wall(line.wall), 8.5),
                para(checked.meaning, 8.5),
                para(checked.key_id, 8, limit=40),
                para(f"line {line.seq}: {state}", 8.5),
            ]
        )
    if rows:
        story.append(
            table(
                ["Printed name", "Signed at", "Meaning", "Key", "State"],
                rows,
                width,
                (0.22, 0.25, 0.18, 0.16, 0.19),
            )
        )
    else:
        story.append(para("Not signed.", 9))
    return story


def _steps(summary: ReportSummary, width: float) -> list[Flowable]:
    story: list[Flowable] = [PageBreak(), heading("Steps")]
    rows = [
        [
            para(step.number, 8, limit=16),
            para(step.text, 8.5),
            clock(step.started_ms),
            clock(step.ended_ms),
            para(step.outcome, 8.5, colour=INK if step.outcome == "done" else WARN),
            para(step.note, 8, limit=600),
        ]
        for step in summary.steps
    ]
    story.append(
        table(
            ["No.", "Step", "Began", "Ended", "How", "Confirmed by, note"],
            rows,
            width,
            (0.06, 0.42, 0.1, 0.1, 0.12, 0.2),
        )
        if rows
        else para("None.", 9)
    )
    if summary.bars:
        bars = list(summary.bars)
        for start in range(0, len(bars), BARS_A_PAGE):
            story.append(
                KeepTogether(
                    [
                        heading("Contacts and cycles on the time line"),
                        time_line(bars[start : start + BARS_A_PAGE], summary.duration_ms, width),
                    ]
                )
            )
        story.append(
            para(
                "Filled: complete. Hatched: dried too early. Dashed: void, or not ended. "
                "Round ends: a cycle of the enclosure. Upright mark: wetted again.",
                7.5,
                colour=GREY,
            )
        )
        story += [Spacer(1, 6), _bar_table(bars, width)]
    return story


def _many(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def _bar_table(bars: Sequence[Bar], width: float) -> Flowable:
    rows = [
        [
            para(bar.what, 8, limit=160),
            para(bar.with_what, 8, limit=160),
            length(bar.required_ms),
            length(bar.end_ms - bar.start_ms),
            f"{len(bar.rewets_ms)}" if bar.kind == "contact" else "\u2013",
            para(
                {"open": "not ended"}.get(bar.outcome, bar.outcome),
                8,
                colour=INK if bar.outcome == "complete" else WARN,
            ),
        ]
        for bar in bars
    ]
    return table(
        ["Surface or cycle", "Agent", "Asked for", "Kept", "Re-wet", "Outcome"],
        rows,
        width,
        (0.28, 0.26, 0.14, 0.14, 0.08, 0.10),
    )


def _facts(record: Record, width: float) -> list[Flowable]:
    story: list[Flowable] = [PageBreak(), heading("Every line of the record")]
    rows: list[list[Any]] = []
    taken = corrected_lines(record.lines)
    for line in record.lines:
        first, *others = _fact_rows(line, corrects(taken.get(line.seq)))
        rows.append(
            [
                str(line.seq),
                clock(line.t_ms) + f".{line.t_ms % 1000:03d}",
                para(wall(line.wall), 6.5),
                para(line.kind.replace("_", " "), 7),
                para(first[1], 6.8, limit=ROW_CHARACTERS),
            ]
        )
        for name, rest in others:
            more = para(rest, 6.8, limit=ROW_CHARACTERS)
            rows.append(["", "", "", para(name, 7, colour=GREY), more])
    if rows:
        story.append(
            table(
                ["Line", "Session time", "Wall time", "Kind", "What it says"],
                rows,
                width,
                (0.06, 0.115, 0.195, 0.14, 0.49),
                size=7,
            )
        )
    return story


def _fact_rows(line: Line, before: str) -> list[tuple[str, str]]:
    """A fact as (name, text), one row each. A row can't be longer than a page, and nothing is left out: the rest goes
    into rows of its own. The first line, which says with what and by whom, gets a row for each thing it says."""
    if line.kind != "record_opened":
        texts = pieces(before + shown(detail(line.data, EVERYTHING), EVERYTHING), ROW_CHARACTERS)
        return [("goes on" if at else "", text) for at, text in enumerate(texts)]
    rows = [("", f"{len(line.data)} things, below")]
    for name, value in line.data.items():
        texts = pieces(shown(detail({name: value}, EVERYTHING), EVERYTHING), ROW_CHARACTERS)
        plain = shown(name.replace("_", " "), 60)
        rows += [(plain if not at else "goes on", text.removeprefix(f"{plain}: ")) for at, text in enumerate(texts)]
    return [row for row in rows if row[1]]
