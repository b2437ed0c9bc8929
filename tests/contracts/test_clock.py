"""One suite for everything behind the `Clock` port: the real clock on stand-ins for the system's, the one moved by hand,
and practice's over it. What only the system shows (its own clocks running) is untested here: no test waits."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import pytest

from assistant.practice.trainee.practice_clock import PracticeClock
from assistant.station.loop import clock as clocks
from assistant.station.loop.clock import Clock, LiveClock
from assistant.station.loop.hand_clock import HandClock

KINDS = ("live", "live, taken up again", "by hand", "practice", "practice that can hurry")


class Bench:
    """A clock and what moves the world around it: time, somebody at the wall clock, a computer that sleeps."""

    def __init__(self, kind: str, monkeypatch: pytest.MonkeyPatch) -> None:
        self.monotonic_s, self.wall_s, self.boot_s = 5_000.0, 0.0, 0.0
        self.first_ms = 90_000 if "again" in kind else 0
        self.hand: HandClock | None = None
        if kind.startswith("live"):
            monkeypatch.setattr(clocks, "_boot_offset_s", lambda: self.boot_s)
            self.clock: Clock = LiveClock(self.first_ms, lambda: self.monotonic_s, self._wall)
        else:
            self.hand = HandClock()
            hurry = 3.0 if "hurry" in kind else 1.0
            self.clock = PracticeClock(self.hand, hurry) if kind.startswith("practice") else self.hand

    def _wall(self) -> datetime:
        return datetime(2026, 1, 5, 9, tzinfo=UTC) + timedelta(seconds=self.monotonic_s + self.wall_s)

    def reading_s(self) -> float:
        """What the clock under the session's shows."""
        return self.monotonic_s if self.hand is None else self.hand.ms / 1000

    def passes(self, seconds: float) -> None:
        self.monotonic_s += seconds
        if self.hand is not None:
            self.hand.ms += seconds * 1000

    def wall_moved(self, seconds: float) -> None:
        self.wall_s += seconds
        if self.hand is not None:
            self.hand.step_ms += round(seconds * 1000)

    def slept(self, seconds: float) -> None:
        self.boot_s += seconds
        if self.hand is not None:
            self.hand.asleep_ms += round(seconds * 1000)


@pytest.fixture(params=KINDS)
def bench(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Bench:
    return Bench(request.param, monkeypatch)


def test_session_time_begins_where_the_session_stands_and_passes_in_whole_milliseconds(bench: Bench) -> None:
    assert bench.clock.now_ms() == bench.first_ms
    bench.passes(0.25)
    assert bench.clock.now_ms() == bench.first_ms + 250
    bench.passes(0.0009)
    now = bench.clock.now_ms()
    assert type(now) is int and now == bench.first_ms + 250  # never ahead of time
    bench.passes(3600)
    assert bench.clock.now_ms() == bench.first_ms + 3_600_250


def test_zero_is_the_reading_of_the_clock_below_at_session_time_zero(bench: Bench) -> None:
    bench.passes(12.5)
    assert round((bench.reading_s() - bench.clock.zero_s) * 1000) == bench.clock.now_ms()


def test_the_wall_time_is_a_stamp_with_its_offset_and_passes_with_the_session(bench: Bench) -> None:
    """RFC 3339, section 5.6, with milliseconds."""
    before = bench.clock.wall()
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}[+-]\d\d:\d\d", before)
    bench.passes(61)
    passed = datetime.fromisoformat(bench.clock.wall(bench.clock.now_ms())) - datetime.fromisoformat(before)
    assert passed == timedelta(seconds=61)


@pytest.mark.parametrize("step_s", [3600.0, -3600.0, 1.5, -1.5])
def test_a_wall_clock_that_jumps_is_told_once_and_moves_no_session_time(bench: Bench, step_s: float) -> None:
    bench.passes(10)
    assert bench.clock.wall_step_ms() == 0
    now, before = bench.clock.now_ms(), datetime.fromisoformat(bench.clock.wall())
    bench.wall_moved(step_s)
    assert bench.clock.now_ms() == now
    assert datetime.fromisoformat(bench.clock.wall()) - before == timedelta(seconds=step_s)
    assert (bench.clock.wall_step_ms(), bench.clock.wall_step_ms()) == (round(step_s * 1000), 0)
    assert datetime.fromisoformat(bench.clock.wall()) - before == timedelta(seconds=step_s)


def test_small_steps_of_the_wall_clock_are_told_once_they_add_up(bench: Bench) -> None:
    bench.wall_moved(1.0)
    assert bench.clock.wall_step_ms() == 0
    bench.wall_moved(1.0)
    assert bench.clock.wall_step_ms(least_ms=2_500) == 0
    assert bench.clock.wall_step_ms() == 2_000


def test_a_sleep_of_the_computer_is_told_once_and_is_no_session_time(bench: Bench) -> None:
    assert bench.clock.suspended_ms() == 0
    now = bench.clock.now_ms()
    bench.slept(120)
    assert bench.clock.now_ms() == now
    assert (bench.clock.suspended_ms(), bench.clock.suspended_ms()) == (120_000, 0)
