"""Practice at a headset: the live loop, voice and listener as at work; only waits pass quicker, and the record says so."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from assistant.hearing.people.profile import Profile
from assistant.practice.trainee.asking_loop import AskingLoop
from assistant.practice.trainee.practice_clock import PracticeClock
from assistant.practice.trainee.spoken_recall import SpokenRecall
from assistant.session import inputs
from assistant.session.facts.base import Fact
from assistant.session.state import State
from assistant.speaking.player import Player
from assistant.station.live.devices import REAL, LiveDevices
from assistant.station.live.parts import LiveChoices, open_parts, prepare_lines
from assistant.station.live.setup import Prepared
from assistant.station.loop.clips import clip_keeper, rule_told
from assistant.station.loop.folders import records_folder
from assistant.station.loop.keeper import SessionKeeper
from assistant.station.loop.mouth import Mouth
from assistant.station.loop.quiet_record import QuietRecord

_SPOKEN_MS = 1500  # after the last loud block somebody may still be speaking
_LOUD = 2.5  # times the quietest of late
WAITING = "wait"

OnFacts = Callable[[State, tuple[Fact, ...], int], None]


@dataclass(slots=True)
class PracticeAtHeadset:
    """What is to be practised and how. `also()`: inputs that come from elsewhere (a drill), each once."""

    person: str
    factor: float = 10.0
    brief: bool = False
    options: tuple[tuple[str, bool], ...] = ()
    records: Path | None = None
    extra: dict[str, Any] = field(default_factory=dict)
    also: Callable[[int], inputs.Input | None] = lambda now_ms: None


@dataclass(slots=True)
class HeadsetDone:
    """`problems`: what of the record doesn't hold. `gained_ms`: session time that passed quicker than real time."""

    folder: Path
    state: State
    facts: list[Fact]
    problems: list[str]
    gained_ms: int


class SpeechGuard:
    """Tells from the microphone's blocks alone whether somebody may be speaking, sooner than the listener can."""

    def __init__(self) -> None:
        self._quiet = 0.0
        self._until_ms = 0

    def take(self, block: bytes, now_ms: int) -> None:
        """One block of 16-bit sound that came at `now_ms`."""
        samples = np.frombuffer(block, dtype="<i2").astype(np.float64)
        if not len(samples):
            return
        rms = float(np.sqrt(np.mean(samples**2)))
        # the floor follows quiet at once and noise slowly: a fan that starts is taken for speech for some seconds
        self._quiet = min(rms, self._quiet * 1.01 + 0.5) if self._quiet else rms
        if rms > _LOUD * self._quiet + 20:
            self._until_ms = now_ms + _SPOKEN_MS

    def speaking(self, now_ms: int) -> bool:
        return now_ms < self._until_ms


def practise_at_headset(
    ready: Prepared, what: PracticeAtHeadset, screen: Any, *, chosen: LiveChoices | None = None, devices: LiveDevices = REAL,
    profile: Profile | None = None, recall: SpokenRecall | None = None,
    on_facts: OnFacts = lambda state, facts, now_ms: None, on_shown: OnFacts = lambda state, facts, now_ms: None,
) -> HeadsetDone:
    """One session to its end. `profile`: the trainee's, whose words `ready` then holds. `on_facts` is told at once,
    `on_shown` when the trainee may know: with `recall`, after they said what comes next.

    Raises SoundDeviceError before anything is written where there is no headset; what engines, voices and records raise.
    """
    chosen = chosen or LiveChoices()
    asked = recall or SpokenRecall(ready.plan, "", off=True)
    with ExitStack() as stack:
        parts = open_parts(ready, chosen, devices, stack, check_level=True, profile=profile)
        base = devices.clock(0)
        clock = PracticeClock(base, what.factor)
        record = QuietRecord(
            ready, "practice", what.person, records=what.records, wall=base.wall,
            extra={**what.extra, **rule_told(records_folder(what.records))}, devices={
                "engine": parts.engine.describe() if parts.engine else {"engine": "none: keys only"},
                "voice": parts.voice.describe(), "sink": parts.sink.describe(), "level": parts.level,
                "source": parts.source.describe() if parts.source else {"source": "keys"},
                "clock": f"monotonic; waits {what.factor:g} times quicker",
            },
        )
        stack.callback(record.abandon)
        keeper = SessionKeeper(ready.plan, record.writer, base.wall)
        loops: list[AskingLoop] = []
        mouth = Mouth(
            Player(parts.voice, parts.sink), lambda a, b, t: loops[0].mute(a, b, t), lambda t: loops[0].unmute(t), -clock.zero_s,
        )
        guard = SpeechGuard()
        keeper.on_facts(lambda facts, now: record.facts.extend(facts))
        keeper.on_facts(lambda facts, now: prepare_lines(parts.voice, ready.plan, keeper.state))
        keeper.on_facts(lambda facts, now: on_facts(keeper.state, facts, now))
        keys = devices.keys() if chosen.with_keys else None
        if keys is not None:
            stack.callback(keys.close)

        def shown(facts: tuple[Fact, ...], now: int) -> None:
            screen.facts(keeper.state, facts, now)
            on_shown(keeper.state, facts, now)

        def elsewhere() -> inputs.Input | None:
            return asked.next() or what.also(keeper.state.now_ms if keeper.over else clock.now_ms())

        loop = AskingLoop(
            keeper, clock, mouth, asked, shown, listener=parts.listener, source=parts.source, keys=keys, board=elsewhere,
            keep_clip=clip_keeper(record.folder), headset_lost=getattr(parts.sink, "lost", None),
            on_tick=lambda now: None if asked.open else screen.tick(keeper.state, now), keep_mic=lambda block, now: guard.take(block, base.now_ms()),
        )
        loops.append(loop)

        def gained(by_ms: int) -> None:
            mouth.shift(by_ms / 1000)
            loop.shift(by_ms)

        clock.on_gain = gained
        clock.limit_ms = keeper.next_deadline_ms
        clock.quick = lambda: (
            keeper.state.mode == WAITING and mouth.silent and not guard.speaking(base.now_ms())
        )
        with screen:
            loop.run(inputs.Begin(what.person, "practice", True, what.brief, what.options))
        problems = record.close(keeper.state)
    return HeadsetDone(record.folder, keeper.state, record.facts, problems, clock.gained_ms)
