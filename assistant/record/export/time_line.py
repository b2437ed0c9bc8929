"""The time line: contacts and cycles as bars over the session's minutes. Shape and words carry the outcome
too."""

from __future__ import annotations

from collections.abc import Sequence

from reportlab.graphics.shapes import Drawing, Line, Rect, String
from reportlab.lib.colors import HexColor, white
from reportlab.pdfbase.pdfmetrics import stringWidth

from assistant.record.export.fonts import shown, use_font
from assistant.record.export.printed import length
from assistant.record.export.summary import Bar

INK, GREY, FAINT = HexColor("#1c2733"), HexColor("#5b6b7a"), HexColor("#d5dce3")
COLOURS = {
    "complete": HexColor("#2f7d6b"),
    "dried": HexColor("#b4532a"),
    "void": HexColor("#8a94a0"),
    "open": HexColor("#c08a1e"),
}
WORDS = {"complete": "complete", "dried": "dried", "void": "void", "open": "not ended"}
ROW, LABEL_SHARE = 15.0, 0.30
_TICKS_S = (10, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14_400)


def time_line(bars: Sequence[Bar], duration_ms: int, width: float) -> Drawing:
    """A drawing of `width` points: one row a bar, its label left, the minutes below."""
    font = use_font()
    duration_ms = max(duration_ms, 1000, *(bar.end_ms for bar in bars)) if bars else max(duration_ms, 1000)
    left = width * LABEL_SHARE
    scale = (width - left - 62) / duration_ms
    height = ROW * len(bars) + 26
    drawing = Drawing(width, height)
    tick = next((s for s in _TICKS_S if duration_ms / 1000 / s <= 10), _TICKS_S[-1])
    for seconds in range(0, duration_ms // 1000 + 1, tick):
        x = left + seconds * 1000 * scale
        drawing.add(Line(x, 16, x, height - 2, strokeColor=FAINT, strokeWidth=0.5))
        text = f"{seconds // 60}:{seconds % 60:02d}" if tick < 60 else f"{seconds // 60}"
        drawing.add(String(x, 5, text, fontName=font, fontSize=7, fillColor=GREY, textAnchor="middle"))
    drawing.add(
        String(
            width,
            5,
            "min:s" if tick < 60 else "minutes",
            fontName=font,
            fontSize=7,
            fillColor=GREY,
            textAnchor="end",
        )
    )
    for row, bar in enumerate(bars):
        _row(drawing, bar, height - ROW * (row + 1), left, scale, font)
    return drawing


def _row(drawing: Drawing, bar: Bar, y: float, left: float, scale: float, font: str) -> None:
    label = shown(f"{bar.what}, {bar.with_what}" if bar.with_what else bar.what, 90)
    while stringWidth(label, font, 7.5) > left - 8 and len(label) > 4:
        label = label[:-4] + "..."
    drawing.add(String(0, y + 4, label, fontName=font, fontSize=7.5, fillColor=INK))
    x, wide = left + bar.start_ms * scale, max((bar.end_ms - bar.start_ms) * scale, 1.5)
    colour = COLOURS[bar.outcome]
    solid = bar.outcome == "complete"
    drawing.add(
        Rect(
            x,
            y + 3,
            wide,
            8,
            fillColor=colour if solid else white,
            strokeColor=colour,
            strokeWidth=0.9,
            strokeDashArray=None if solid or bar.outcome == "dried" else [2, 1.5],
            rx=1 if bar.kind == "contact" else 4,
        )
    )
    if bar.outcome == "dried":
        for step in range(int(wide // 5) + 1):  # hatched, so that a grey print shows it
            at = x + step * 5
            drawing.add(Line(at, y + 3, min(at + 5, x + wide), y + 11, strokeColor=colour, strokeWidth=0.6))
    for moment in bar.rewets_ms:
        at = left + moment * scale
        drawing.add(Line(at, y + 1, at, y + 13, strokeColor=INK, strokeWidth=1.2))
    words = f"{length(bar.end_ms - bar.start_ms)} {WORDS[bar.outcome]}"
    drawing.add(String(x + wide + 3, y + 4.2, words, fontName=font, fontSize=6.5, fillColor=GREY))
