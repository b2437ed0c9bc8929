"""Text from a record, made safe to show: nothing in it can move a cursor, ring a bell or turn a line
round."""

from __future__ import annotations

import unicodedata

# Format characters (Cf) reorder or hide text; these few belong to ordinary writing and are let through.
_ALLOWED_FORMAT = {"\u200c", "\u200d"}


def printable(text: object, limit: int = 2000) -> str:
    """`text` with control, format, surrogate, private and unassigned characters written as U+XXXX."""
    text = str(text)
    shown = []
    for character in text[:limit]:
        category = unicodedata.category(character)
        if category in ("Zl", "Zp") or (category[0] == "C" and character not in _ALLOWED_FORMAT):
            shown.append(f"<U+{ord(character):04X}>")
        else:
            shown.append(character)
    if len(text) > limit:
        shown.append(" ...")
    return "".join(shown)
