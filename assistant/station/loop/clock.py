"""Where time comes from: the operating system's monotonic clock for live work, audio samples for media time."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Protocol

# A demo's wall clock: the same stamps on every run, and a date nobody takes for today's work.
DEMO_EPOCH = datetime(2026, 1, 5, 9, 0, 0, tzinfo=UTC)


class Clock(Protocol):
    """A session's time in ms, and the wall's; see LiveClock."""

    @property
    def zero_s(self) -> float: ...

    def now_ms(self) -> int: ...

    def sleep(self, seconds: float) -> None: ...

    def suspended_ms(self) -> int: ...

    def wall(self, now_ms: int = 0, /) -> str: ...

    def wall_step_ms(self, least_ms: int = 1500) -> int: ...


class LiveClock:
    """Milliseconds since the session began, from the monotonic clock, and RFC 3339 stamps from the wall clock.

    `wall_step_ms` tells how far the two have moved apart since it was last asked. `first_ms`: where the
    session's own clock stands already (a session taken up again).
    """

    def __init__(
        self, first_ms: int = 0, monotonic: Callable[[], float] = time.monotonic,
        wall: Callable[[], datetime] = lambda: datetime.now().astimezone(),
    ) -> None:
        self._monotonic = monotonic
        self._wall = wall
        self._begun = monotonic() - first_ms / 1000
        self._gap = self._offset()
        self._asleep = _boot_offset_s()

    @property
    def zero_s(self) -> float:
        """The monotonic clock's reading at session time zero."""
        return self._begun

    def sleep(self, seconds: float) -> None:
        """Let time pass."""
        time.sleep(seconds)

    def suspended_ms(self) -> int:
        """How long the computer slept since the last call; 0 where the system can't tell (then the loop's own
        gaps show it)."""
        offset = _boot_offset_s()
        gone, self._asleep = round((offset - self._asleep) * 1000), offset
        return gone if gone > 1000 else 0

    def now_ms(self) -> int:
        return int((self._monotonic() - self._begun) * 1000)

    def wall(self, _now_ms: int = 0) -> str:
        """The wall time now, with its offset."""
        return self._wall().isoformat(timespec="milliseconds")

    def wall_step_ms(self, least_ms: int = 1500) -> int:
        """How far the wall clock has moved against the monotonic one since the last call, or 0 below `least_ms`."""
        offset = self._offset()
        step = round((offset - self._gap) * 1000)
        if abs(step) < least_ms:
            return 0
        self._gap = offset
        return step

    def _offset(self) -> float:
        return self._wall().timestamp() - self._monotonic()


def _boot_offset_s() -> float:
    """Time since boot, sleep included, less the monotonic clock, which leaves sleep out; 0 where there is none."""
    boot = getattr(time, "CLOCK_BOOTTIME", None)
    return time.clock_gettime(boot) - time.clock_gettime(time.CLOCK_MONOTONIC) if boot is not None else 0.0


def media_wall(epoch: datetime) -> Callable[[int], str]:
    """Stamps for media time: `epoch` plus the session's milliseconds."""
    return lambda now_ms: (epoch + timedelta(milliseconds=now_ms)).isoformat(timespec="milliseconds")
