"""Thousands of sessions at simulated speed: what the core believed, held against what was really done."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from assistant.practice.channel import Channel
from assistant.practice.drills import draw
from assistant.practice.enclosure_sim import EnclosureSim
from assistant.practice.operator import Operator
from assistant.practice.oracle import CLASSES, ENGINE, Finding, Oracle
from assistant.practice.persona import Persona
from assistant.practice.simulate import Decide, Run, Simulation
from assistant.procedure.plan import Plan
from assistant.session import decide
from assistant.session.inputs import Input

DRY_CHANCE = 0.01  # of a film that lasts half as long as the site's figure
_KEEP = 20  # sessions with an engine fault kept in full


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
    """The sum over sessions. `wrong`: by class; `lost_s`: time spent saying things again."""

    sessions: int = 0
    completed: int = 0
    verdicts: Counter[str] = field(default_factory=Counter)
    wrong: Counter[str] = field(default_factory=Counter)
    missed_words: int = 0
    refused: int = 0
    simulated_s: float = 0.0
    lost_s: float = 0.0
    taken_s: float = 0.0
    faults: list[Fault] = field(default_factory=list)

    def as_json(self) -> dict[str, Any]:
        """The keys of `soak --json`."""
        return {
            "sessions": self.sessions, "completed": self.completed, "engine_faults": self.wrong[ENGINE],
            "wrong_acceptances": {name: self.wrong[name] for name in CLASSES}, "missed_words": self.missed_words,
            "sessions_per_s": round(self.sessions / self.taken_s, 2) if self.taken_s else 0.0,
            "verdicts": dict(sorted(self.verdicts.items())), "simulated_h": round(self.simulated_s / 3600, 2),
            "lost_s_per_session": round(self.lost_s / self.sessions, 1) if self.sessions else 0.0,
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
    """`sessions` sessions over all plans and personas in turn."""
    total, begun = Soaked(), time.perf_counter()
    for i in range(first, first + sessions):
        persona = personas[i % len(personas)]
        plan = plans[i // len(personas) % len(plans)]
        name = f"{seed}:{persona.id}:{i}"
        run, oracle = one_session(plan, persona, name, decide_with=decide_with)
        _add(total, run, oracle)
        if oracle.count()[ENGINE] and len(total.faults) < _KEEP:
            again, judged = one_session(plan, persona, name, decide_with=decide_with, keep_inputs=True)
            total.faults.append(Fault(persona.id, plan.procedure, name, [f for f in judged.findings if f.kind == ENGINE], again.given))
        total.taken_s = time.perf_counter() - begun
        if on_progress:
            on_progress(i + 1 - first, total)
    return total


def _add(total: Soaked, run: Run, oracle: Oracle) -> None:
    total.sessions += 1
    total.completed += run.state.mode == "complete"
    total.verdicts[run.state.verdict or f"open in {run.state.mode}"] += 1
    total.wrong.update(oracle.count())
    total.missed_words += run.channel.missed
    total.refused += sum(f.KIND == "heard" and not f.accepted for f in run.facts)
    total.simulated_s += run.ended_ms / 1000
    total.lost_s += run.operator.lost_ms / 1000


def merged(parts: Iterable[Soaked]) -> Soaked:
    """The sum of soaks that ran side by side; the longest time counts."""
    total = Soaked()
    for part in parts:
        total.sessions += part.sessions
        total.completed += part.completed
        total.verdicts.update(part.verdicts)
        total.wrong.update(part.wrong)
        total.missed_words += part.missed_words
        total.refused += part.refused
        total.simulated_s += part.simulated_s
        total.lost_s += part.lost_s
        total.taken_s = max(total.taken_s, part.taken_s)
        total.faults += part.faults
    return total
