"""The report's building blocks: paragraphs, boxes, tables, and the few colours."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from reportlab.lib.colors import HexColor, white
from reportlab.lib.styles import ParagraphStyle
from reportlab.platypus import Flowable, LongTable, Paragraph, Table, TableStyle

from assistant.record.export.fonts import markup, use_font
from assistant.record.export.time_line import FAINT, GREY, INK

BAND, SOFT, WARN, WARN_SOFT = (
    HexColor("#1f3a4d"),
    HexColor("#eef2f5"),
    HexColor("#a4401b"),
    HexColor("#fbeee8"),
)


def style(size: float, *, colour: Any = INK, leading: float | None = None, **more: Any) -> ParagraphStyle:
    """A paragraph style in the report's font."""
    return ParagraphStyle(
        "x", fontName=use_font(), fontSize=size, leading=leading or size * 1.32, textColor=colour, **more
    )


def para(text: object, size: float = 9, *, limit: int = 500, **more: Any) -> Paragraph:
    """A paragraph of any text, made safe for the page."""
    return Paragraph(markup(text, limit), style(size, **more))


def heading(text: str) -> Flowable:
    """A heading that stays with what follows."""
    return Paragraph(markup(text), style(12.5, colour=BAND, spaceBefore=12, spaceAfter=5, keepWithNext=1))


def box(rows: Sequence[Sequence[Any]], widths: Sequence[float], *, fill: Any, edge: Any) -> Table:
    """Rows on a tinted ground with a bar at their left edge."""
    table = Table(rows, widths)
    table.setStyle(
        TableStyle(
            [
                ("BACKGROUND", (0, 0), (-1, -1), fill),
                ("LINEBEFORE", (0, 0), (0, -1), 3, edge),
                ("TOPPADDING", (0, 0), (-1, -1), 6),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 7),
                ("LEFTPADDING", (0, 0), (-1, -1), 10),
                ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
            ]
        )
    )
    return table


def pairs(rows: Sequence[tuple[str, str]], width: float) -> Table:
    """Name and value, a line between the rows."""
    table = Table(
        [[para(name, 8, colour=GREY), para(value, 9, limit=400)] for name, value in rows],
        [width * 0.34, width * 0.66],
    )
    table.setStyle(
        TableStyle(
            [
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("TOPPADDING", (0, 0), (-1, -1), 1.5),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 2.5),
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
                ("LINEBELOW", (0, 0), (-1, -2), 0.4, FAINT),
            ]
        )
    )
    return table


def table(
    head: Sequence[str],
    rows: Sequence[Sequence[Any]],
    width: float,
    shares: Sequence[float],
    size: float = 8.5,
) -> Table:
    """A table that goes on over pages, its head repeated; `shares` of `width` per column."""
    table = LongTable(
        [[para(name, 7.5, colour=white) for name in head], *rows],
        [width * share for share in shares],
        repeatRows=1,
    )
    table.setStyle(
        TableStyle(
            [
                ("FONT", (0, 1), (-1, -1), use_font(), size),
                ("TEXTCOLOR", (0, 1), (-1, -1), INK),
                ("BACKGROUND", (0, 0), (-1, 0), BAND),
                ("ROWBACKGROUNDS", (0, 1), (-1, -1), [white, SOFT]),
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("TOPPADDING", (0, 0), (-1, -1), 2.5),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 3),
                ("LEFTPADDING", (0, 0), (-1, -1), 4),
                ("RIGHTPADDING", (0, 0), (-1, -1), 4),
                ("LINEBELOW", (0, -1), (-1, -1), 0.6, BAND),
            ]
        )
    )
    return table
