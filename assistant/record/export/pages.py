"""What stands on every page: which record, the seal, how to check it, and "page 3 of 12"."""

from __future__ import annotations

from typing import Any

from reportlab.pdfgen.canvas import Canvas

from assistant.record.export.fonts import use_font
from assistant.record.export.time_line import FAINT, GREY


class NumberedCanvas(Canvas):  # type: ignore[misc]  # the library has no types
    """Keeps the pages until all are made, so that each can say how many there are."""

    def __init__(self, *args: Any, foot: tuple[str, str], head: str, margin: float, **more: Any) -> None:
        super().__init__(*args, **more)
        self._foot, self._head, self._margin = foot, head, margin
        self._kept: list[dict[str, Any]] = []

    def showPage(self) -> None:
        self._kept.append(dict(self.__dict__))
        self._startPage()

    def save(self) -> None:
        total = len(self._kept)
        for number, page in enumerate(self._kept, 1):
            self.__dict__.update(page)
            self._stamp(number, total)
            super().showPage()
        super().save()

    def _stamp(self, number: int, total: int) -> None:
        width, height = self._pagesize
        self.setStrokeColor(FAINT)
        self.setLineWidth(0.6)
        self.line(self._margin, 52, width - self._margin, 52)
        self.setFillColor(GREY)
        self.setFont(use_font(), 6.6)
        self.drawString(self._margin, 42, self._foot[0])
        self.drawString(self._margin, 32, self._foot[1])
        self.drawRightString(width - self._margin, 42, f"page {number} of {total}")
        if number > 1:
            self.drawString(self._margin, height - 34, self._head)
            self.line(self._margin, height - 40, width - self._margin, height - 40)
