"""`assistant measure practice`: does the score rank people as they really are, and how fast is it all."""

from __future__ import annotations

import time
from collections.abc import Sequence
from typing import Any

import click

from assistant.practice.enclosure.drills import draw
from assistant.practice.enclosure.simulated import EnclosureSim
from assistant.practice.evidence.score import MishapLog, enclosure_log, score
from assistant.practice.operator.channel import Channel
from assistant.practice.operator.person import Operator
from assistant.practice.operator.persona import Errors, Persona, load_persona
from assistant.practice.oracle.judge import Oracle
from assistant.practice.simulate import Simulation
from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import load_procedure
from assistant.procedure.model.plan import Plan
from assistant.station.account.json_out import print_figures

# Twelve people held apart from the personas the score was made with: the same kinds of error, each level an eighth
# more often than the one before. The true order is the level.
LEVELS = 12
STEP = 1.18
_BASE = {
    "claims_early": 0.012, "misses_rewet": 0.04, "mishears": 0.006, "wrong_word": 0.008, "slips": 0.02,
    "reuses_wipe": 0.02, "chats": 0.03, "asks_again": 0.01,
}


def held_out(level: int) -> Persona:
    """The person of a level, 0 (best) to 11."""
    factor = STEP ** level
    rates = {name: min(1.0, rate * factor) for name, rate in _BASE.items()}
    return Persona(
        id=f"held-out-{level}", title=f"Held out {level}",
        errors=Errors(says_started=0.3, owns_up=0.5, early_part=0.6, unheard=0.02, misheard=0.001, **rates),
    )


def spearman(a: Sequence[float], b: Sequence[float]) -> float:
    """Spearman's rank correlation, ties sharing their mean rank (C. Spearman, Am. J. Psychology 15, 1904).

    Raises ValueError for lists of other length, fewer than two, or without any order in them.
    """
    if len(a) != len(b) or len(a) < 2:
        raise ValueError("two lists of one length are needed")
    x, y = _ranks(a), _ranks(b)
    mean = (len(a) + 1) / 2
    above = sum((p - mean) * (q - mean) for p, q in zip(x, y, strict=True))
    below = (sum((p - mean) ** 2 for p in x) * sum((q - mean) ** 2 for q in y)) ** 0.5
    if below == 0:
        raise ValueError("all alike: there is no order")
    return above / below


def _ranks(values: Sequence[float]) -> list[float]:
    order = sorted(values)
    return [order.index(v) + (order.count(v) + 1) / 2 for v in values]


def mean_score(plan: Plan, persona: Persona, sessions: int, seed: int | str) -> float:
    """The mean total over simulated sessions with one mishap each."""
    total = 0.0
    for i in range(sessions):
        name = f"{seed}:{persona.id}:{i}"
        drills = draw(plan, name, 1)
        world = EnclosureSim(plan, name)
        operator = Operator(persona, world, name, cues=[d.cue() for d in drills])
        channel = Channel(persona.errors, name)
        oracle = Oracle(plan, world, operator.said, channel.confused, operator.lapses)
        run = Simulation(
            plan, operator, channel, oracle=oracle, options=tuple((o.id, False) for o in plan.options)
        ).run()
        log = enclosure_log(oracle, world, [MishapLog(w, at) for at, w in operator.happened])
        # unbounded, so that a very bad session still counts for more than a bad one
        total += 100.0 - sum(part.points_off for part in score(plan, run.facts, log).parts)
    return total / sessions


def measure_practice(plan: Plan, sessions: int, seed: int | str, say=lambda text: None) -> dict[str, Any]:
    """`spearman` between true level and mean score (sign turned, so that 1 is perfect), and `sessions_per_s`."""
    begun, means = time.perf_counter(), []
    for level in range(LEVELS):
        means.append(mean_score(plan, held_out(level), sessions, seed))
        say(f"level {level}: mean {means[-1]:.2f}")
    taken = time.perf_counter() - begun
    return {
        "spearman": round(-spearman(list(range(LEVELS)), means), 4), "means": [round(m, 2) for m in means],
        "sessions_each": sessions, "sessions_per_s": round(LEVELS * sessions / taken, 2),
    }


@click.command("practice")
@click.option("--sessions", type=click.IntRange(1, 100_000), default=200, show_default=True, help="For each of the twelve people.")
@click.option("--procedure", default="gb-2-light-clean", show_default=True)
@click.option("--seed", type=click.IntRange(min=0), default=1, show_default=True)
@click.option("--no-sound", is_flag=True, help="Leave out the session with real sound.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
def practice(sessions: int, procedure: str, seed: int, no_sound: bool, as_json: bool) -> int:
    """Rank twelve people with known error rates by their scores, and time sessions with and without sound."""
    plan = compile_plan(load_procedure(procedure))
    found = measure_practice(plan, sessions, seed, lambda text: click.echo(text, err=True))
    found["skipped"] = ["real_time_factor (--no-sound)"] if no_sound else []
    if not no_sound:
        from tests.bench.practice.soak_sound import SoundSoak, soak_with_sound

        what = SoundSoak(procedure, (load_persona("careful"),), seed)
        found["real_time_factor"] = soak_with_sound(what, 1)["real_time_factor"]
    print_figures(found, as_json)
    return 0
