"""Due dates against the calendar (stdlib and icalendar's recurrence) and the published longest intervals."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from assistant.calc.due import (
    DUE_SOON,
    DUE_TODAY,
    NEVER_DONE,
    NOT_DUE,
    OVERDUE,
    Interval,
    due_date,
    due_status,
    longest_published_days,
)

days = st.dates(min_value=date(2000, 1, 1), max_value=date(2100, 1, 1))


@given(days, st.integers(1, 60))
def test_months_agree_with_dateutil(last, months):
    assert due_date(last, Interval(months=months)) == last + relativedelta(months=months)


@given(days, st.integers(1, 1000))
def test_days_are_days(last, n):
    assert due_date(last, Interval(days=n)) - last == timedelta(days=n)


def test_the_month_end_is_kept_inside_the_month():
    assert due_date(date(2024, 1, 31), Interval(months=1)) == date(2024, 2, 29)
    assert due_date(date(2023, 1, 31), Interval(months=1)) == date(2023, 2, 28)


@pytest.mark.parametrize(
    ("today", "status", "left"),
    [
        (date(2024, 3, 1), NOT_DUE, 7),
        (date(2024, 3, 5), DUE_SOON, 3),
        (date(2024, 3, 8), DUE_TODAY, 0),
        (date(2024, 3, 9), OVERDUE, -1),
    ],
)
def test_status_on_each_side_of_the_day(today, status, left):
    found = due_status(date(2024, 3, 1), Interval(days=7), today)
    assert (found.status, found.days_left) == (status, left)


def test_never_done_is_due_now():
    assert due_status(None, Interval(days=7), date(2024, 3, 1)).status == NEVER_DONE


def test_published_longest_intervals():
    # USP <797> (2023): sporicidal monthly for categories 1 and 2, weekly for 3. USP <800>: under the tray monthly.
    assert longest_published_days(3, "sporicidal") == 7
    assert longest_published_days(1, "sporicidal") == longest_published_days(2, "sporicidal") == 31
    assert longest_published_days(2, "under_tray") == 31
    assert longest_published_days(2, "rigorous") is None


def test_an_interval_is_days_or_months_and_the_last_time_lies_in_the_past():
    for bad in ({}, {"days": 1, "months": 1}, {"days": -1}):
        with pytest.raises(ValueError):
            Interval(**bad)
    with pytest.raises(ValueError):
        due_status(date(2024, 3, 2), Interval(days=1), date(2024, 3, 1))
