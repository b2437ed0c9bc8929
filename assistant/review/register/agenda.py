"""The register as a calendar file (RFC 5545): one all-day event per duty, on the day it is due."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta

from icalendar import Alarm, Calendar, Event

from assistant.calc.due import NEVER_DONE, OVERDUE
from assistant.review.register.register import Duty

PRODUCT = "-//Gauntlet//Register//EN"


def calendar_file(found: Sequence[Duty], site: str, today: date, stamp: datetime) -> bytes:
    """The file's bytes. `stamp`: when it was made (DTSTAMP). What was never done or is overdue stands on
    today."""
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("x-wr-calname", f"Due: {site}" if site else "Due")
    for duty in found:
        calendar.add_component(_event(duty, today, stamp))
    return bytes(calendar.to_ical())


def _event(duty: Duty, today: date, stamp: datetime) -> Event:
    event = Event()
    late = duty.due.status in (OVERDUE, NEVER_DONE)
    day = today if late or duty.due.due is None else duty.due.due
    # The same duty keeps its identity, so that a newer file replaces what an older one put into a calendar.
    event.add("uid", f"{duty.enclosure}-{duty.purpose}@gauntlet.invalid")
    event.add("dtstamp", stamp.astimezone(UTC))
    event.add("dtstart", day)
    event.add("dtend", day + timedelta(days=1))
    event.add(
        "summary", f"{'OVERDUE: ' if duty.due.status == OVERDUE else ''}{duty.name}, {duty.enclosure_name}"
    )
    done = f"Last done {duty.last[:10]} by {duty.by}." if duty.last else "Never done so far."
    event.add(
        "description",
        f"{done} Every {duty.interval_days} days by the site's rule."
        + (f" {duty.finding}" if duty.finding else ""),
    )
    event.add("transp", "TRANSPARENT")
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", f"{duty.name}, {duty.enclosure_name}")
    alarm.add("trigger", timedelta(hours=8))
    event.add_component(alarm)
    return event
