"""Thousands of sessions at simulated speed: what the core believed, held against what was really done."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from assistant.practice.enclosure.drills import draw
from assistant.practice.enclosure.simulated import EnclosureSim
from assistant.practice.operator.channel import Channel
from assistant.practice.operator.person import Operator
from assistant.practice.operator.persona import Persona
from assistant.practice.oracle.judge import Oracle
from assistant.practice.oracle.ledger import CLASSES, ENGINE, Finding
from assistant.practice.simulate import Decide, Run, Simulation
from assistant.procedure.model.plan import Plan
from assistant.session import decide
from assistant.session.inputs import Input
from tests.bench.practice.side_by_side import side_by_side

DRY_CHANCE = 0.01  # of a film that lasts half as long as the site's figure
STRETCH = 50  # sessions handed to a process at a time
KEEP = 20  # sessions with an engine fault kept in full


@dataclass(slots=True)
class Fault:
    """One session with an engine fault, so that it can be repeated."""

    persona: str
    procedure: str
    seed: str
    findings: list[Finding]
    given: list[tuple[int, Input]]


@dataclass(slots=True)
class Soaked:
    """The sum over sessions. `wrong`: by class; `lost_ms`: session time spent saying things again; `taken_s`: real
    time. All but that is the same however the sessions are shared out."""

    sessions: int = 0
    completed: int = 0
    verdicts: Counter[str] = field(default_factory=Counter)
    wrong: Counter[str] = field(default_factory=Counter)
    missed_words: int = 0
    refused: int = 0
    simulated_ms: int = 0
    lost_ms: int = 0
    taken_s: float = 0.0
    faults: list[Fault] = field(default_factory=list)

    def add(self, part: Soaked) -> None:
        """What another stretch of the same soak came to. Only the first faults are kept in full."""
        self.sessions += part.sessions
        self.completed += part.completed
        self.verdicts.update(part.verdicts)
        self.wrong.update(part.wrong)
        self.missed_words += part.missed_words
        self.refused += part.refused
        self.simulated_ms += part.simulated_ms
        self.lost_ms += part.lost_ms
        self.faults = (self.faults + part.faults)[:KEEP]

    def as_json(self) -> dict[str, Any]:
        """The keys of `soak --json`."""
        return {
            "sessions": self.sessions, "completed": self.completed, "engine_faults": self.wrong[ENGINE],
            "wrong_acceptances": {name: self.wrong[name] for name in CLASSES}, "missed_words": self.missed_words,
            "sessions_per_s": round(self.sessions / self.taken_s, 2) if self.taken_s else 0.0,
            "verdicts": dict(sorted(self.verdicts.items())), "simulated_h": round(self.simulated_ms / 3_600_000, 2),
            "lost_s_per_session": round(self.lost_ms / 1000 / self.sessions, 1) if self.sessions else 0.0,
        }


def one_session(
    plan: Plan, persona: Persona, seed: str, *, mishaps: bool = True, decide_with: Decide = decide,
    keep_inputs: bool = False,
) -> tuple[Run, Oracle]:
    """One session of a persona: options, mishaps and chance all follow from `seed`."""
    toss = sum(seed.encode())
    world = EnclosureSim(plan, seed, dry_chance=DRY_CHANCE)
    cues = [d.cue() for d in draw(plan, seed, toss % 3, with_ends=toss % 11 == 0)] if mishaps else []
    operator = Operator(persona, world, seed, cues=cues)
    channel = Channel(persona.errors, seed)
    oracle = Oracle(plan, world, operator.said, channel.confused, operator.lapses)
    options = tuple((o.id, bool(toss >> i & 1)) for i, o in enumerate(plan.options))
    run = Simulation(
        plan, operator, channel, options=options, oracle=oracle, decide_with=decide_with, keep_inputs=keep_inputs,
    ).run()
    return run, oracle


def soak(
    plans: Sequence[Plan], personas: Sequence[Persona], sessions: int, seed: int | str, *, decide_with: Decide = decide,
    on_progress: Callable[[int, Soaked], None] | None = None, first: int = 0,
) -> Soaked:
    """`sessions` sessions over all plans and personas in turn, from number `first` on. A session follows from its
    number and `seed` alone."""
    total, begun = Soaked(), time.perf_counter()
    for i in range(first, first + sessions):
        persona = personas[i % len(personas)]
        plan = plans[i // len(personas) % len(plans)]
        name = f"{seed}:{persona.id}:{i}"
        run, oracle = one_session(plan, persona, name, decide_with=decide_with)
        _add(total, run, oracle)
        if oracle.count()[ENGINE] and len(total.faults) < KEEP:
            again, judged = one_session(plan, persona, name, decide_with=decide_with, keep_inputs=True)
            total.faults.append(Fault(persona.id, plan.procedure, name, [f for f in judged.findings if f.kind == ENGINE], again.given))
        total.taken_s = time.perf_counter() - begun
        if on_progress:
            on_progress(i + 1 - first, total)
    return total


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Part of a soak, for one process."""

    plans: tuple[Plan, ...]
    personas: tuple[Persona, ...]
    first: int
    sessions: int
    seed: int | str

    def run(self) -> Soaked:
        return soak(self.plans, self.personas, self.sessions, self.seed, first=self.first)


def soak_side_by_side(
    plans: Sequence[Plan], personas: Sequence[Persona], sessions: int, seed: int | str, jobs: int, *,
    on_progress: Callable[[int, Soaked], None] | None = None, first: int = 0,
) -> Soaked:
    """As `soak`, in `jobs` processes: the same sums and the same faults, sooner."""
    begun, total = time.perf_counter(), Soaked()
    stretches = [
        _Stretch(tuple(plans), tuple(personas), at, min(STRETCH, first + sessions - at), seed)
        for at in range(first, first + sessions, STRETCH)
    ]
    for _, part in side_by_side(_Stretch.run, stretches, jobs):
        total.add(part)
        total.taken_s = time.perf_counter() - begun
        if on_progress:
            on_progress(total.sessions, total)
    return total


def _add(total: Soaked, run: Run, oracle: Oracle) -> None:
    total.sessions += 1
    total.completed += run.state.mode == "complete"
    total.verdicts[run.state.verdict or f"open in {run.state.mode}"] += 1
    total.wrong.update(oracle.count())
    total.missed_words += run.channel.missed
    total.refused += sum(f.KIND == "heard" and not f.accepted for f in run.facts)
    total.simulated_ms += run.ended_ms
    total.lost_ms += run.operator.lost_ms
