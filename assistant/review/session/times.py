"""Times as people read them: the site's zone, the offset always shown."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

_MONTHS = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split()
_DAYS = "Mon Tue Wed Thu Fri Sat Sun".split()
UTC = UTC


def zone_named(name: str) -> tzinfo | None:
    """The zone of that name; None for "" (then each time keeps the offset it was written with).
    Raises ValueError for an unknown name."""
    if not name:
        return None
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise ValueError(f"unknown time zone {name!r}") from error


def parse_wall(text: str) -> datetime | None:
    """An RFC 3339 time with offset, or None. A leap second is read as the second before."""
    try:
        found = datetime.fromisoformat(text.replace(":60", ":59") if ":60" in text else text)
    except (ValueError, TypeError):
        return None
    return found if found.tzinfo else None


def offset_words(moment: datetime) -> str:
    """+01:00, or UTC."""
    offset = moment.utcoffset() or timedelta()
    if not offset:
        return "UTC"
    minutes = int(offset.total_seconds() // 60)
    return f"{'+' if minutes >= 0 else '−'}{abs(minutes) // 60:02}:{abs(minutes) % 60:02}"


def day_words(moment: datetime) -> str:
    """Mon 2 Mar 2026."""
    return f"{_DAYS[moment.weekday()]} {moment.day} {_MONTHS[moment.month - 1]} {moment.year}"


def date_words(day: date) -> str:
    """2 Mar 2026."""
    return f"{day.day} {_MONTHS[day.month - 1]} {day.year}"


class Clock:
    """Shows times in one zone. `zone` None: each in the offset it was written with."""

    def __init__(self, zone: tzinfo | None = None) -> None:
        self.zone = zone

    def local(self, wall: str | datetime) -> datetime | None:
        """The moment in the site's zone, or None for text that is no time."""
        moment = parse_wall(wall) if isinstance(wall, str) else wall
        if moment is None:
            return None
        try:
            return moment.astimezone(self.zone) if self.zone else moment
        except (OverflowError, ValueError):
            return moment

    def full(self, wall: str | datetime, seconds: bool = True) -> str:
        """Mon 2 Mar 2026, 07:40:12 (+01:00)."""
        moment = self.local(wall)
        if moment is None:
            return "time unknown"
        return (
            f"{day_words(moment)}, {moment:%H:%M:%S} ({offset_words(moment)})"
            if seconds
            else f"{day_words(moment)}, {moment:%H:%M} ({offset_words(moment)})"
        )

    def short(self, wall: str | datetime) -> str:
        """2 Mar 2026, 07:40 (+01:00)."""
        moment = self.local(wall)
        if moment is None:
            return "time unknown"
        return (
            f"{moment.day} {_MONTHS[moment.month - 1]} {moment.year}, {moment:%H:%M} ({offset_words(moment)})"
        )

    def at(self, started: str, at_ms: int, seconds: bool = True) -> str:
        """07:41:03: the wall time of a session time, in the zone (no offset: the page's head shows it)."""
        moment = self.local(started)
        if moment is None:
            return ""
        try:
            moment = moment + timedelta(milliseconds=at_ms)
        except OverflowError:
            return ""
        return f"{moment:%H:%M:%S}" if seconds else f"{moment:%H:%M}"


def now_wall(zone: tzinfo | None = None) -> str:
    """The present, RFC 3339 with offset; the machine's own zone when None."""
    moment = datetime.now(UTC)
    return (moment.astimezone(zone) if zone else moment.astimezone()).isoformat(timespec="seconds")


def clock_words(ms: int) -> str:
    """Session time as m:ss or h:mm:ss."""
    s = max(0, ms // 1000)
    return f"{s // 3600}:{s % 3600 // 60:02}:{s % 60:02}" if s >= 3600 else f"{s // 60}:{s % 60:02}"
