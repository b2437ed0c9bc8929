"""How long a procedure takes and how much of it is waiting: critical path and a seeded simulation.

One technician does one thing at a time; contacts and cycles run beside. So the path to the end goes through the
technician's steps, except where a wait ends with a contact or cycle: there it goes through that one, and what was
done meanwhile has slack. Step times vary around the author's estimates; their spread is this project's judgement.
"""

from __future__ import annotations

import math
import random
import statistics
from collections.abc import Mapping
from dataclasses import dataclass

from assistant.calc.wetting import wetting_passes
from assistant.procedure.model.plan import ALL_CONTACTS, CYCLE, WAIT, WET, Plan, Step
from assistant.procedure.paper.run_times import StepTimes, end_ms, run_times

# Standard deviations of logarithms; judgement until a site measures: of one step's time, and of a person's pace.
SPREAD, PACE_SPREAD = 0.25, 0.15
RUNS = 1000


@dataclass(frozen=True, slots=True)
class Forecast:
    """Times in ms. `critical`: ids of the steps and contacts that set the end. `slack_ms`: of the other steps."""

    options: dict[str, bool]
    expected_ms: int
    median_ms: int
    p90_ms: int
    waiting_ms: int
    steps: int
    rewets: int
    critical: tuple[str, ...]
    slack_ms: dict[str, int]

    @property
    def waiting_share(self) -> float:
        """Waiting as a part of the whole, 0 to 1."""
        return self.waiting_ms / self.expected_ms if self.expected_ms else 0.0


def default_answers(plan: Plan, given: Mapping[str, bool] | None = None) -> dict[str, bool]:
    """Answers for every option: the given ones, else the defaults, else yes (the longer way)."""
    return {o.id: (given or {}).get(o.id, True if o.default is None else o.default) for o in plan.options}


def line_for(plan: Plan, answers: Mapping[str, bool]) -> list[Step]:
    """The main-line steps that hold under these answers."""
    return [s for s in plan.steps if all(answers.get(w.option) == w.equals for w in s.when)]


def forecast(
    plan: Plan, answers: Mapping[str, bool] | None = None, *, seed: int = 1, runs: int = RUNS
) -> Forecast:
    """The forecast for one set of answers. The same seed gives the same figures. Raises ValueError for runs < 1."""
    if runs < 1:
        raise ValueError("a simulation needs at least one run")
    chosen = default_answers(plan, answers)
    steps = line_for(plan, chosen)
    times = run_times(steps, plan)
    critical, slack = _critical(steps, times)
    rng = random.Random(seed)
    totals = []
    for _ in range(runs):
        # Lognormal with the author's estimate as its median: a step may take twice as long, never below zero.
        pace = rng.gauss(0, PACE_SPREAD)
        own = [round(s.expected_ms * math.exp(pace + rng.gauss(0, SPREAD))) for s in steps]
        totals.append(end_ms(run_times(steps, plan, own), steps, plan))
    totals.sort()
    return Forecast(
        options=chosen,
        expected_ms=end_ms(times, steps, plan),
        median_ms=round(statistics.median(totals)),
        p90_ms=totals[min(len(totals) - 1, math.ceil(0.9 * len(totals)) - 1)],
        waiting_ms=sum(t.waited_ms for t in times)
        + end_ms(times, steps, plan)
        - (times[-1].end_ms if times else 0),
        steps=len(steps),
        rewets=sum(rewets_of(s) for s in steps),
        critical=critical,
        slack_ms=slack,
    )


def rewets_of(step: Step) -> int:
    """How often a wet step's surface is wetted again before its contact is over."""
    if step.kind != WET or not step.contact_ms or not step.wet_ms:
        return 0
    try:
        return (
            wetting_passes(
                contact_ms=step.contact_ms,
                wet_ms=step.wet_ms,
                lead_ms=step.lead_ms,
                wiping_ms=6_000 + step.expected_ms,
            )
            - 1
        )
    except ValueError:
        return 0


def _critical(steps: list[Step], times: list[StepTimes]) -> tuple[tuple[str, ...], dict[str, int]]:
    """(ids on the critical path, slack of the others): walks back from the end."""
    path: list[str] = []
    slack: dict[str, int] = {}
    i = len(steps) - 1
    while i >= 0:
        step, t = steps[i], times[i]
        path.append(step.id)
        if t.waited_ms > 0:
            j = _cause(steps, times, i)
            if j is not None:
                for k in range(j + 1, i):
                    slack[steps[k].id] = t.waited_ms
                i = j
                continue
        i -= 1
    return tuple(reversed(path)), slack


def _cause(steps: list[Step], times: list[StepTimes], at: int) -> int | None:
    """The index of the wet or cycle step whose end the step at `at` waits for."""
    step = steps[at]
    best, best_end = None, -1
    for j in range(at):
        other = steps[j]
        mine = (
            other.kind == WET
            and other.contact_ms
            and (
                (step.kind == WAIT
                and (other.surface in step.wait_for or ALL_CONTACTS in step.wait_for))
                or (step.kind == WET
                and other.surface == step.surface)
            )
        ) or (other.kind == CYCLE and (step.kind != WAIT or other.cycle in step.wait_for))
        ends = times[j].end_ms + (other.contact_ms if other.kind == WET else 0)
        if mine and (other.kind == CYCLE or ends > best_end):
            best, best_end = j, ends
    return best
