"""The time line as one SVG whose horizontal places are percentages, so that zooming only changes its
width."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup, escape

from assistant.record.lines.safe_text import printable
from assistant.review.session.lanes import (
    CORRECTION,
    DEVIATION,
    MISHAP,
    NOTE,
    RECOVERY,
    REWET,
    SKIP,
    Lane,
    Mark,
    Span,
    thinned,
)
from assistant.review.session.times import clock_words

ROW_PX, BAR_PX, AXIS_PX = 26, 14, 24
# A shape of its own for each kind of mark, so that none is told by colour alone.
SHAPES = {
    DEVIATION: "M0 -7 L7 6 L-7 6 Z",
    MISHAP: "M0 -7.5 L7.5 0 L0 7.5 L-7.5 0 Z",
    CORRECTION: "M-5.5 0 A5.5 5.5 0 1 1 0 5.5 M-5.5 0 L-8.5 -3.5 M-5.5 0 L-1.8 -2.6",
    SKIP: "M-6 -6 L6 6 M6 -6 L-6 6",
    RECOVERY: "M-6 -6 H6 V6 H-6 Z",
    NOTE: "M0 -4 A4 4 0 1 1 0 4 A4 4 0 1 1 0 -4 Z",
    REWET: "M0 -7 C4 -2 5 1 5 3 A5 5 0 0 1 -5 3 C-5 1 -4 -2 0 -7 Z",
}
HATCHES = Markup(
    "<defs>"
    '<pattern id="h-dried" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<rect class="hb-dried" width="6" height="6"/><rect class="hl-dried" width="2.4" height="6"/></pattern>'
    '<pattern id="h-void" width="7" height="7" patternUnits="userSpaceOnUse">'
    '<rect class="hb-void" width="7" height="7"/><path class="hl-void" d="M0 0 L7 7 M7 0 L0 7"/></pattern>'
    '<pattern id="h-wetting" width="5" height="5" patternUnits="userSpaceOnUse">'
    '<rect class="hb-wetting" width="5" height="5"/>'
    '<circle class="hl-wetting" cx="2.5" cy="2.5" r="1.2"/></pattern>'
    '<pattern id="h-paused" width="8" height="8" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<rect class="hb-paused" width="8" height="8"/><rect class="hl-paused" width="2" height="8"/></pattern>'
    "</defs>"
)
_HATCHED = frozenset(("dried", "void", "wetting", "paused"))


def timeline_svg(lanes: Sequence[Lane], total_ms: int, label: str) -> Markup:
    """The drawing up to its cursor, which `with_cursor` puts in. `label`: its name for screen readers."""
    total = max(1, total_ms)
    height = AXIS_PX + ROW_PX * len(lanes)
    parts = [
        f'<svg id="timeline-svg" class="tl" width="100%" height="{height}" role="img" '
        f'aria-label="{escape(label)}" data-total="{total}">',
        HATCHES,
        _axis(total, height),
    ]
    for number, lane in enumerate(lanes):
        parts.append(_lane(lane, AXIS_PX + number * ROW_PX, total))
    return Markup("".join(parts))


def with_cursor(drawing: Markup, cursor_ms: int, total_ms: int) -> Markup:
    """The whole drawing with its cursor at `cursor_ms`: the only part that differs from visit to visit."""
    place = _percent(cursor_ms, max(1, total_ms))
    return drawing + Markup(
        f'<line id="cursor" class="tl-cursor" x1="{place}" x2="{place}" y1="0" y2="100%"/></svg>'
    )


def _percent(at_ms: int, total: int) -> str:
    return f"{min(100.0, max(0.0, 100 * at_ms / total)):.4f}%"


def tick_step_ms(total_ms: int, most: int = 10) -> int:
    """A round distance between ticks, so that there are at most `most`."""
    for seconds in (10, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400):
        if total_ms / (seconds * 1000) <= most:
            return seconds * 1000
    return max(1, total_ms // most)


def _axis(total: int, height: int) -> str:
    step = tick_step_ms(total)
    parts = ['<g id="ticks" aria-hidden="true">']
    for at_ms in range(0, total, step):
        place = _percent(at_ms, total)
        parts.append(
            f'<line class="tl-tick" x1="{place}" x2="{place}" y1="{AXIS_PX - 6}" y2="{height}"/>'
            f'<text class="tl-time" x="{place}" dx="4" y="14">{clock_words(at_ms)}</text>'
        )
    return "".join(parts) + "</g>"


def _lane(lane: Lane, top: int, total: int) -> str:
    middle = top + ROW_PX / 2
    parts = [f'<line class="tl-row" x1="0" x2="100%" y1="{top + ROW_PX}" y2="{top + ROW_PX}"/>']
    spans = thinned(lane.spans, total)
    parts += [_span(span, middle - BAR_PX / 2, total) for span in spans]
    parts += [_mark(mark, middle, total) for mark in lane.marks]
    return "".join(parts)


def _span(span: Span, top: float, total: int) -> str:
    start = 100 * span.start_ms / total
    width = max(0.02, 100 * (span.end_ms - span.start_ms) / total)
    fill = f' fill="url(#h-{span.kind})"' if span.kind in _HATCHED else ""
    title = f"{printable(span.label, 200)} ({clock_words(span.start_ms)} to {clock_words(span.end_ms)})"
    return (
        f'<rect class="s s-{span.kind}"{fill} x="{start:.4f}%" width="{width:.4f}%" '
        f'y="{top}" height="{BAR_PX}" data-line="{span.line}">'
        f"<title>{escape(title)}</title></rect>"
    )


def _mark(mark: Mark, middle: float, total: int) -> str:
    title = f"{printable(mark.label, 200)} ({clock_words(mark.at_ms)})"
    return (
        f'<svg class="m m-{mark.kind}" x="{_percent(mark.at_ms, total)}" y="{middle}" overflow="visible" '
        f'data-at="{mark.at_ms}" data-line="{mark.line}"><path d="{SHAPES.get(mark.kind, SHAPES[NOTE])}"/>'
        f"<title>{escape(title)}</title></svg>"
    )
