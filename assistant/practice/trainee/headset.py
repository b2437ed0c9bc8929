"""Practice by voice: the live loop at a headset, judged like any practice session.

What the hands do can't be seen: as for somebody who types, it is worked out from the time between instruction and
confirmation.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from assistant.practice.enclosure.disturbances import (
    COMPUTER,
    MICROPHONE,
    NOISE,
    NOISE_DB,
    Disturber,
    draw_disturbances,
)
from assistant.practice.enclosure.simulated import EnclosureSim
from assistant.practice.enclosure.stage import DrillStage
from assistant.practice.evidence.score import enclosure_log, score
from assistant.practice.oracle.judge import Oracle
from assistant.practice.session_run import (
    OnFacts,
    OnWorld,
    Practised,
    Wanted,
    keep_log,
    mishap_logs,
    options_for,
)
from assistant.practice.trainee.levels import level
from assistant.practice.trainee.practice_live import PracticeAtHeadset, practise_at_headset
from assistant.practice.trainee.spoken_recall import SpokenRecall
from assistant.practice.trainee.typed import TypedTrainee
from assistant.session import inputs
from assistant.session.facts import lines
from assistant.session.facts.base import Fact
from assistant.session.state import State
from assistant.speaking.noise import FanNoise
from assistant.station.live.devices import REAL, LiveDevices
from assistant.station.live.own_voice import as_said_by, profile_of
from assistant.station.live.parts import LiveChoices
from assistant.station.live.setup import Prepared

_COLLEAGUE_MS = 9000  # from a request for a second person to their coming


class DisturbedSource:
    """A microphone around another that can be given a louder fan or be cut off; else it is the other."""

    def __init__(self, inner: Any, seed: int = 0) -> None:
        self._inner = inner
        self._fan = FanNoise(seed, level_dbfs=-20.0, rate_hz=16_000)
        self._quiet = 0.0
        self.noisy = False
        self.cut = False

    def read(self, timeout_s: float) -> bytes | None:
        """As the inner one, with the fan `NOISE_DB` above the quietest block of late while noisy."""
        block: bytes | None = self._inner.read(timeout_s)
        if self.cut or block is None:
            return None
        samples = np.frombuffer(block, dtype="<i2").astype(np.float64)
        if not len(samples):
            return block
        rms = float(np.sqrt(np.mean(samples**2)))
        if not self.noisy:
            self._quiet = min(rms, self._quiet * 1.01 + 0.1) if self._quiet else rms
            return block
        # two sources add by power: what is missing from the floor to 12 dB above it
        wanted = max(self._quiet, 30.0) * (10 ** (NOISE_DB / 10) - 1) ** 0.5
        fan = self._fan.read(len(samples)).astype(np.float64) * (wanted / (10 ** (-20.0 / 20) * 32767))
        louder: np.ndarray = np.clip(np.round(samples + fan), -32768, 32767)
        return louder.astype("<i2").tobytes()

    def lost(self) -> bool:
        return self.cut or self._inner.lost()

    def reopen(self) -> bool:
        return not self.cut and (not self._inner.lost() or self._inner.reopen())

    def __getattr__(self, name: str) -> Any:
        return getattr(self._inner, name)


def run_at_headset(
    ready: Prepared, screen: Any, wanted: Wanted, *, chosen: LiveChoices | None = None, devices: LiveDevices = REAL,
    on_facts: OnFacts | None = None,
    on_shown: OnFacts = lambda state, facts, now_ms: None, on_world: OnWorld | None = None,
) -> Practised:
    """As `session_run.run_practice`, at a headset, with the trainee's hearing profile where there is one. At level recall
    the trainee is asked aloud; `on_shown`: told of facts when the trainee may know them. Raises SoundDeviceError before anything is written where there is
    none; a power cut of the computer can't be practised here (UsageError is the caller's to raise)."""
    chosen = chosen or LiveChoices()
    trainee, seed, show = wanted.trainee, wanted.seed, wanted.show
    own = profile_of(chosen.profile, trainee, ready.pack.language, show)
    ready = as_said_by(ready, own, show)
    plan, lvl = ready.plan, level(wanted.level_name)
    drills = wanted.drills(plan)
    disturbances = draw_disturbances(plan, seed, [kind for kind in wanted.disturb if kind != COMPUTER])
    world = EnclosureSim(plan, seed)
    person = TypedTrainee(world, [], DrillStage(drills, world, show), lvl.brief)
    oracle = Oracle(plan, world, person.said, [], person.lapses)
    disturber = Disturber(disturbances)
    sources: list[DisturbedSource] = []
    texts: dict[int, str] = {}
    visits: list[tuple[int, inputs.Input]] = []
    if on_world:
        on_world(world, (*drills, *disturbances))

    def source(name: str | None) -> DisturbedSource:
        sources.append(DisturbedSource(devices.source(name), sum(str(seed).encode())))
        return sources[-1]

    def follow(state: State, facts: tuple[Fact, ...], now_ms: int) -> None:
        for fact in facts:
            if isinstance(fact, lines.LineSpoken):
                texts[fact.line] = fact.text
            elif isinstance(fact, lines.LineEnded):
                heard(texts.pop(fact.line, ""), fact.ended_ms)
            elif isinstance(fact, lines.Heard) and fact.accepted:
                person.says(fact.word or fact.said or fact.value, fact.ended_ms)
                if fact.word:
                    oracle.given(inputs.Word(fact.word, fact.started_ms, fact.ended_ms))
            oracle.fact(fact)
        if on_facts:
            on_facts(state, facts, now_ms)

    def heard(text: str, ended_ms: int) -> None:
        person.hear(text, ended_ms)
        disturber.hear(text, ended_ms)
        if "second person must confirm" in text.lower():
            visits.append((ended_ms + _COLLEAGUE_MS, inputs.Witness("colleague", "I saw it.")))
        elif "signs in at the board" in text.lower():
            visits.append((ended_ms + _COLLEAGUE_MS, inputs.SignIn(f"relief {ended_ms}")))

    def also(now_ms: int) -> inputs.Input | None:
        person.next_action(now_ms)  # lets drills happen and surfaces dry
        for begins, one in disturber.events(now_ms):
            for microphone in sources:
                microphone.noisy = begins if one.kind == NOISE else microphone.noisy
                microphone.cut = begins if one.kind == MICROPHONE else microphone.cut
        if visits and visits[0][0] <= now_ms:
            return visits.pop(0)[1]
        return None

    what = PracticeAtHeadset(
        trainee, wanted.factor, lvl.brief, options_for(plan, wanted.answers or {}), wanted.records,
        wanted.header("", drills, disturbances), also,
    )
    done = practise_at_headset(
        ready, what, screen, chosen=chosen, profile=own, on_facts=follow, on_shown=on_shown,
        recall=SpokenRecall(plan, seed, show) if lvl.asks_next else None, devices=LiveDevices(
            devices.sink, source, devices.voice, devices.engine, devices.keys, devices.clock, devices.files,
        ),
    )
    log = enclosure_log(oracle, world, mishap_logs(drills, person.happened))
    keep_log(done.folder, log)
    return Practised(
        done.folder, lvl, str(seed), drills, done.facts, done.state.verdict or "open", log, score(plan, done.facts, log),
        done.problems, world, done.state.now_ms,
    )
