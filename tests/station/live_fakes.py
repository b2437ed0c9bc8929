"""A live session's outside without devices: somebody at the keys who does what is asked, and can be cut off."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

from assistant.hearing.engines.fake import FakeEngine
from assistant.session import inputs
from assistant.speaking.cached_voice import CachedVoice
from assistant.speaking.fake_voice import FakeVoice
from assistant.speaking.silent_sink import SilentSink
from assistant.station.live.devices import LiveDevices
from assistant.station.loop.hand_clock import HandClock
from assistant.station.loop.screen import PlainScreen
from tests.bench.station.policy import Policy
from tests.station.fakes import BlockSource


class Killed(BaseException):
    """The process is gone: nothing may catch this and go on."""


class QuickClock(HandClock):
    """Steps of up to half a second, so that an hour passes in moments."""

    def __init__(self, first_ms: int = 0, wall: str = "2026-01-05T09:00:00.000+00:00") -> None:
        super().__init__()
        self.ms = float(first_ms)
        self.wall_text = wall

    def wall(self, _now_ms: int = 0) -> str:
        return self.wall_text

    def sleep(self, seconds: float) -> None:
        super().sleep(seconds * 10)


class ClockedSink(SilentSink):
    """A silent sink whose clock is the session's; `played` counts the sounds."""

    def __init__(self, clock: Callable[[], HandClock]) -> None:
        super().__init__()
        self._clock = clock
        self.played: list[int] = []

    def now_s(self) -> float:
        return self._clock().ms / 1000

    def play(self, samples, rate_hz, start_s=None):
        self._now_s = self.now_s()
        self.played.append(len(samples))
        return super().play(samples, rate_hz, start_s)


class Stage:
    """Everything outside one session. `cut_ms`, `cut_when`: the process dies at that session time, or in such a
    state. `stop_ms`: a safe stop is asked for then."""

    def __init__(self, *, seed: int = 1, cut_ms: int | None = None, wall: str = "2026-01-05T09:00:00.000+00:00",
                 engine: Any = None, source: Any = None, files: Any = None, stop_ms: int | None = None,
                 cut_when: Callable[[Any], bool] = lambda state: False) -> None:
        self.policy = Policy(seed, calm=True)
        self.wall = wall
        self.cut_ms = cut_ms
        self.cut_when = cut_when
        self.stop_ms = stop_ms
        self.engine = engine or FakeEngine()
        self.source = source
        self.files = files
        self.clock = QuickClock(0, wall)
        self.sink = ClockedSink(lambda: self.clock)
        self.out = io.StringIO()
        self.plan = self.state = None
        self._due: tuple[int, inputs.Input] | None = None

    def devices(self) -> LiveDevices:
        return LiveDevices(
            sink=lambda name: self.sink, source=lambda name: self.source, voice=lambda s: CachedVoice(FakeVoice(s)),
            engine=lambda *a: self.engine, keys=lambda: self, clock=self.make_clock, files=self.files,
        )

    def make_clock(self, first_ms: int) -> QuickClock:
        self.clock = QuickClock(first_ms, self.wall)
        return self.clock

    def open_screen(self, plan: Any, title: str, **more: Any) -> Any:
        stage, self.plan = self, plan

        class Screen(PlainScreen):
            def facts(self, state: Any, facts: Any, now_ms: int) -> None:
                stage.state, stage._due = state, None
                super().facts(state, facts, now_ms)

        return Screen(plan, self.out)

    def get(self) -> inputs.Input | None:
        """The keys: what the policy would do, when it is due."""
        now = self.clock.now_ms()
        if self.cut_ms is not None and now >= self.cut_ms:
            raise Killed
        if self.state is None:
            return None
        if self.cut_when(self.state):
            raise Killed
        if self.stop_ms is not None and now >= self.stop_ms:
            self._due, self.stop_ms = None, self.stop_ms + 20_000
            word = "confirm" if self.state.mode == "stopping" else "stop"
            return inputs.Word(word, now - 300, now, source="keys")
        if self._due is None:
            at_ms, given = self.policy.next(self.plan, self.state)
            if isinstance(given, inputs.Tick | inputs.LineDone):
                return None
            self._due = (at_ms, given)
        at_ms, given = self._due
        if at_ms > now:
            return None
        self._due = None
        return given

    def close(self) -> None:
        return None


def silence(clock: Callable[[], HandClock]) -> BlockSource:
    return BlockSource(clock())
