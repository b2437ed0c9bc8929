"""The report's font: Noto Sans (SIL Open Font License), for Latin, Greek and Cyrillic.

A character that the font lacks is written as <U+XXXX>, so that nothing is silently left out of a report.
"""

from __future__ import annotations

from functools import cache
from importlib import resources

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

from assistant.record.lines.safe_text import printable

FONT = "NotoSans"


@cache
def _covered() -> frozenset[int]:
    folder = resources.files("fontpkg_noto_sans") / "files"
    font = TTFont(FONT, str(folder / "NotoSans[wdth,wght].ttf"))
    pdfmetrics.registerFont(font)
    return frozenset(font.face.charToGlyph)


def use_font() -> str:
    """Register the font once; its name."""
    _covered()
    return FONT


def shown(text: object, limit: int = 500) -> str:
    """Text for the page: safe, and every character in the font or named by its code."""
    covered = _covered()
    whole = "".join(c if ord(c) in covered else f"<U+{ord(c):04X}>" for c in printable(text, limit))
    return (
        whole if len(whole) <= limit + 4 else whole[:limit] + " ..."
    )  # a page's row can't be longer than a page


def markup(text: object, limit: int = 500) -> str:
    """The same for a paragraph: no character of it is taken for markup."""
    return shown(text, limit).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
