"""The clock of practice at a headset: waits pass quicker, words keep their real times."""

from __future__ import annotations

from collections.abc import Callable

from assistant.station.loop.clock import Clock

_MOST_AT_ONCE_MS = 2000  # below what the live loop takes for sleep


class PracticeClock:
    """A live clock (`base`) whose session time runs `factor` times faster while `quick()` is True.

    `limit_ms()`: session time it may not pass by hurrying (the next deadline), or None. `on_gain(ms)` is told of
    every gain at once, so that what is dated by another clock can be moved along. At most 2 s are gained at a look.
    While `held`, session time stands still (a loss is a gain below zero).
    """

    def __init__(self, base: Clock, factor: float) -> None:
        self._base = base
        self._factor = factor
        self._last_ms = base.now_ms()
        self.gained_ms = 0
        self.quick: Callable[[], bool] = lambda: False
        self.limit_ms: Callable[[], int | None] = lambda: None
        self.on_gain: Callable[[int], None] = lambda ms: None
        self.held = False

    @property
    def zero_s(self) -> float:
        """The base clock's reading at session time zero, gains aside."""
        return self._base.zero_s

    def now_ms(self) -> int:
        """Session time, ms."""
        real = self._base.now_ms()
        gone, self._last_ms = real - self._last_ms, real
        if gone > 0 and self.held:
            self.gained_ms -= gone
            self.on_gain(-gone)
        elif gone > 0 and self._factor > 1.0 and self.quick():
            gain = min(_MOST_AT_ONCE_MS, round(gone * (self._factor - 1.0)))
            limit = self.limit_ms()
            if limit is not None:
                gain = min(gain, limit - real - self.gained_ms)
            if gain > 0:
                self.gained_ms += gain
                self.on_gain(gain)
        return real + self.gained_ms

    def sleep(self, seconds: float) -> None:
        """Let real time pass."""
        self._base.sleep(seconds)

    def suspended_ms(self) -> int:
        return self._base.suspended_ms()

    def wall(self, now_ms: int = 0) -> str:
        """Real wall time."""
        return self._base.wall(now_ms)

    def wall_step_ms(self, least_ms: int = 1500) -> int:
        return self._base.wall_step_ms(least_ms)
