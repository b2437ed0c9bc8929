"""The printed procedure: for the wall, and for the day the computer is down. Black and white, A4 or Letter.

The same content gives the same bytes: no dates, no random names inside the PDF.
"""

from __future__ import annotations

import io
from collections.abc import Mapping
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib import colors, pagesizes
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import KeepTogether, Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.compiling.spoken import spoken_duration
from assistant.procedure.loading.load import Loaded
from assistant.procedure.model.kinds import in_language
from assistant.procedure.model.plan import ALL_CONTACTS, Plan, Step
from assistant.procedure.paper.run_times import clock

SIZES = {"a4": pagesizes.A4, "letter": pagesizes.LETTER}
_MARGIN = 14 * mm
_BODY = ParagraphStyle("body", fontName="Helvetica", fontSize=9.5, leading=12)
_SMALL = ParagraphStyle("small", parent=_BODY, fontSize=8, leading=10)
_BOLD = ParagraphStyle("bold", parent=_BODY, fontName="Helvetica-Bold")
_TITLE = ParagraphStyle("title", parent=_BOLD, fontSize=16, leading=20)
_HEAD = ParagraphStyle("head", parent=_BOLD, fontSize=11, leading=14, spaceBefore=8, spaceAfter=3)
_REACH = {"room": "Room", "gauntlets": "Gauntlets", "window": "Window", "": "Anywhere"}


def sheet_pdf(loaded: Loaded, size: str = "a4", answers: Mapping[str, bool] | None = None) -> bytes:
    """The procedure as PDF bytes. `size`: a4 or letter. With `answers`, steps that don't apply are left out.

    Raises KeyError for an unknown size.
    """
    plan = compile_plan(loaded)
    page = SIZES[size]
    out = io.BytesIO()
    name = in_language(loaded.enclosure.name, "en")
    footer = f"{plan.procedure}, revision {plan.revision}, SHA-256 {plan.sha256}"

    class Numbered(_NumberedCanvas):
        text = footer

    document = SimpleDocTemplate(
        out,
        pagesize=page,
        leftMargin=_MARGIN,
        rightMargin=_MARGIN,
        topMargin=_MARGIN,
        bottomMargin=_MARGIN + 8 * mm,
        title=plan.title,
        author=plan.site,
        subject=f"Revision {plan.revision}",
        creator="Gauntlet",
        invariant=1,
    )
    width = page[0] - 2 * _MARGIN
    story: list[Any] = [
        Paragraph(escape(plan.title), _TITLE),
        Paragraph(
            escape(f"{plan.site}, {name}. Revision {plan.revision}. Made from: {loaded.procedure.document}"),
            _BODY,
        ),
        Spacer(1, 3 * mm),
        _run_box(width),
        Spacer(1, 2 * mm),
    ]
    if plan.cautions:
        story += [
            Paragraph("Before you begin", _HEAD),
            *(Paragraph("! " + escape(c), _BOLD) for c in plan.cautions),
        ]
    if plan.options:
        story.append(Paragraph("Questions", _HEAD))
        story.append(_questions(plan, answers, width))
    story.append(Paragraph("Steps", _HEAD))
    story.append(_steps(plan, _chosen(plan, answers), width))
    for at, mishap in enumerate(plan.mishaps.values()):
        # The heading stays with the first branch, never alone at the foot of a page.
        rows: list[Any] = [] if at else [Paragraph("If something goes wrong", _HEAD)]
        rows.append(Paragraph(f"<b>{escape(mishap.title[:1].upper() + mishap.title[1:])}</b>", _BODY))
        rows += [Paragraph(f"{i}. {_words(s)}{_if_no(s)}", _SMALL) for i, s in enumerate(mishap.steps, 1)]
        ending = {
            "resume": "Then do again what it spoiled, and go on.",
            "stop": "Then stop. The clean is not complete.",
            "leave": "Leave everything where it is.",
        }[mishap.then]
        rows.append(Paragraph(escape(f"{ending} {mishap.tell}".strip()), _SMALL))
        story.append(KeepTogether([*rows, Spacer(1, 2 * mm)]))
    document.build(story, canvasmaker=Numbered)
    return out.getvalue()


class _NumberedCanvas(Canvas):  # type: ignore[misc]  # the library has no types
    """Writes "page x of y" with hash and revision at the foot of each page, once the number of pages is known."""

    text = ""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs["invariant"] = 1
        super().__init__(*args, **kwargs)
        self._pages: list[dict[str, Any]] = []

    def showPage(self) -> None:
        self._pages.append(dict(self.__dict__))
        self._startPage()

    def save(self) -> None:
        for number, state in enumerate(self._pages, 1):
            self.__dict__.update(state)
            self.setFont("Helvetica", 6.5)
            self.drawString(_MARGIN, 10 * mm, self.text)
            self.drawRightString(self._pagesize[0] - _MARGIN, 10 * mm, f"Page {number} of {len(self._pages)}")
            super().showPage()
        super().save()


def _run_box(width: float) -> Table:
    cells = [["Date", "", "Technician", "", "Start", ""], ["Second person", "", "Supervisor", "", "End", ""]]
    table = Table(
        [[Paragraph(c, _SMALL) for c in row] for row in cells],
        colWidths=[width * w for w in (0.13, 0.22, 0.13, 0.27, 0.08, 0.17)],
        rowHeights=8 * mm,
    )
    table.setStyle(
        TableStyle([("GRID", (0, 0), (-1, -1), 0.6, colors.black), ("VALIGN", (0, 0), (-1, -1), "MIDDLE")])
    )
    return table


def _chosen(plan: Plan, answers: Mapping[str, bool] | None) -> list[Step]:
    if answers is None:
        return list(plan.steps)
    return [s for s in plan.steps if all(answers.get(w.option, w.equals) == w.equals for w in s.when)]


def _questions(plan: Plan, answers: Mapping[str, bool] | None, width: float) -> Table:
    rows = []
    for number, option in enumerate(plan.options, 1):
        given = (answers or {}).get(option.id)
        tick = {None: "[  ] yes   [  ] no", True: "[X] yes   [  ] no", False: "[  ] yes   [X] no"}[given]
        rows.append(
            [Paragraph(f"Q{number}", _BOLD), Paragraph(escape(option.ask), _BODY), Paragraph(tick, _BODY)]
        )
    table = Table(rows, colWidths=[width * 0.07, width * 0.68, width * 0.25])
    table.setStyle(TableStyle([("GRID", (0, 0), (-1, -1), 0.4, colors.black)]))
    return table


def _words(step: Step) -> str:
    parts = [escape(step.say)]
    if step.caution:
        parts.append(f"<b>! {escape(step.caution)}</b>")
    if step.look_for:
        parts.append(f"<i>{escape(step.look_for)}</i>")
    return " ".join(parts)


def _if_no(step: Step) -> str:
    """What a no, or a value outside its limits, means within a branch."""
    if step.kind == "check" and step.on_no == "stop":
        return " If not: stop."
    return " If outside the limits: stop." if step.kind == "reading" and step.on_outside == "stop" else ""


def _box(plan: Plan, step: Step) -> str:
    """What is written down at a step."""
    if step.kind == "wet":
        contact = f"wet {spoken_duration(step.contact_ms)}" if step.contact_ms else "wiped"
        again = ""
        if 0 < step.wet_ms <= step.contact_ms + step.expected_ms:
            again = f"<br/>wet again {clock(max(0, step.wet_ms - step.lead_ms))} after the first stroke"
        return f"all wet at __:__<br/>{contact}{again}"
    if step.kind == "wait":
        return "over at __:__"
    if step.kind == "cycle":
        return f"start __:__<br/>{clock(plan.cycles[step.cycle].duration_ms)}"
    if step.kind == "reading":
        limits = " to ".join(x for x in (step.low, step.high) if x)
        return f"______ {escape(step.unit)}<br/>limits {limits}"
    if step.kind == "note":
        return "____________"
    if step.kind == "check":
        return {"stop": "yes [  ]  no: stop", "again": "yes [  ]"}.get(step.on_no, "yes [  ]  no [  ]")
    if step.kind == "witness":
        return "seen by ________"
    return "__:__"


def _steps(plan: Plan, steps: list[Step], width: float) -> Table:
    numbers = {o.id: f"Q{i}" for i, o in enumerate(plan.options, 1)}
    rows: list[list[Any]] = [[Paragraph(t, _BOLD) for t in ("OK", "No.", "Where", "What", "Record")]]
    for number, step in enumerate(steps, 1):
        only = ", ".join(f"{numbers[w.option]} {'yes' if w.equals else 'no'}" for w in step.when)
        text = _words(step)
        if step.kind == "wait" and ALL_CONTACTS in step.wait_for:
            text += " Every surface stays wet until its time is over."
        text += f" <i>(only if {only})</i>" if only else ""
        rows.append(
            [
                "",
                Paragraph(str(number), _SMALL),
                Paragraph(_REACH[step.reach], _SMALL),
                Paragraph(text, _BODY),
                Paragraph(_box(plan, step), _SMALL),
            ]
        )
    table = Table(rows, colWidths=[width * w for w in (0.065, 0.06, 0.12, 0.535, 0.22)], repeatRows=1)
    style = [
        ("GRID", (0, 0), (-1, -1), 0.4, colors.black),
        ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
        ("LINEBELOW", (0, 0), (-1, 0), 1.2, colors.black),
        ("TOPPADDING", (0, 0), (-1, -1), 3),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 4),
    ]
    table.setStyle(TableStyle(style))
    return table
