"""A clock moved by hand, in jumps: for tests and whoever tries out the live loop without waiting."""

from __future__ import annotations

from datetime import timedelta

from assistant.station.loop.clock import DEMO_EPOCH


class HandClock:
    """A `Clock` that stands until it is moved: `ms` is session time, moved by `sleep` or set. `step_ms`: how far the wall
    clock was moved against it and nobody has asked yet; `asleep_ms`: likewise, how long the computer slept."""

    zero_s = 0.0

    def __init__(self) -> None:
        self.ms = 0.0
        self.asleep_ms = 0
        self.step_ms = 0
        self._told_ms = 0

    def now_ms(self) -> int:
        return int(self.ms)

    def wall(self, _now_ms: int = 0, /) -> str:
        moved = timedelta(milliseconds=int(self.ms) + self._told_ms + self.step_ms)
        return (DEMO_EPOCH + moved).isoformat(timespec="milliseconds")

    def sleep(self, seconds: float) -> None:
        self.ms += max(seconds, 0.001) * 1000

    def suspended_ms(self) -> int:
        gone, self.asleep_ms = self.asleep_ms, 0
        return gone

    def wall_step_ms(self, least_ms: int = 1500) -> int:
        if abs(self.step_ms) < least_ms:
            return 0
        step, self.step_ms = self.step_ms, 0
        self._told_ms += step
        return step
