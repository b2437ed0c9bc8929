"""What is overdue on an enclosure, in words: said at the next start, and it stops the fit-for-use label."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from assistant.review.register.register import overdue_now
from assistant.review.serving.places import home_folder, keys_folder

UNREAD = "What is due on this enclosure could not be read. Tell your supervisor."


def overdue_lines(records: Path, enclosure: str, today: date, procedures: Path | None = None) -> list[str]:
    """One plain sentence per duty that is overdue on this enclosure; empty when nothing is.

    Raises nothing: whatever stands in the register, it never stops a start. What can't be read is said instead.
    """
    try:
        found = overdue_now(records, home_folder(None), enclosure, today, procedures, keys_folder(None))
    except Exception:  # a bug or a broken file in the register belongs to the supervisor, not to gloved hands
        return [UNREAD]
    return [f"{duty.name} is overdue. It was due on {duty.due.due:%d %B %Y}." for duty in found if duty.due.due]
