"""When a clean, a change or a certification is due again, and the longest intervals that were published.

Months are calendar months, a day that the month lacks becomes its last day (RFC 5545 leaves this to the reader).
Longest published intervals: USP <797> (2023): sporicidal monthly for categories 1 and 2, weekly for category 3,
interior and pass-through disinfected at least daily on days of use; USP <800>: under the work tray at least
monthly (both read as summaries). These check a site's figures; they are never advice.
"""

from __future__ import annotations

import calendar
from dataclasses import dataclass
from datetime import date, timedelta


@dataclass(frozen=True, slots=True)
class Interval:
    """Either `days` or `months`, at least 1."""

    days: int = 0
    months: int = 0

    def __post_init__(self) -> None:
        if (self.days > 0) == (self.months > 0) or self.days < 0 or self.months < 0:
            raise ValueError("an interval has either days or months, at least 1")


# Longest published interval in days by category and purpose; a month counts 31 days, its longest.
LONGEST_DAYS = {
    1: {"light": 1, "sporicidal": 31, "under_tray": 31},
    2: {"light": 1, "sporicidal": 31, "under_tray": 31},
    3: {"light": 1, "sporicidal": 7, "under_tray": 31},
}
SOURCES = {
    "light": "USP <797> (2023), interior disinfected at least daily on days of use",
    "sporicidal": "USP <797> (2023), sporicidal disinfection monthly, weekly for category 3",
    "under_tray": "USP <800>, under the work tray at least monthly",
}

NEVER_DONE, NOT_DUE, DUE_SOON, DUE_TODAY, OVERDUE = (
    "never_done",
    "not_due",
    "due_soon",
    "due_today",
    "overdue",
)


def due_date(last: date, interval: Interval) -> date:
    """The day it is due again. Raises OverflowError beyond the calendar."""
    if interval.days:
        return last + timedelta(days=interval.days)
    month = last.month - 1 + interval.months
    year, month = last.year + month // 12, month % 12 + 1
    if year > 9999:
        raise OverflowError("the due date lies beyond the calendar")
    return date(year, month, min(last.day, calendar.monthrange(year, month)[1]))


@dataclass(frozen=True, slots=True)
class Due:
    """`due`: the day, None if never done. `days_left`: negative when overdue, 0 on the day and if never done."""

    status: str
    due: date | None
    days_left: int


def due_status(last: date | None, interval: Interval, today: date, warn_days: int = 3) -> Due:
    """Where a duty stands on `today`. Never done counts as due now. Raises ValueError for a future `last`."""
    if last is None:
        return Due(NEVER_DONE, None, 0)
    if last > today:
        raise ValueError(f"the last time, {last}, lies after {today}")
    due = due_date(last, interval)
    left = (due - today).days
    status = OVERDUE if left < 0 else DUE_TODAY if left == 0 else DUE_SOON if left <= warn_days else NOT_DUE
    return Due(status, due, left)


def longest_published_days(category: int, purpose: str) -> int | None:
    """The longest published interval in days, or None where no figure was found."""
    return LONGEST_DAYS.get(category, {}).get(purpose)
