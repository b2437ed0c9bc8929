"""When each step of a line begins and ends if everything goes as estimated. Contacts and cycles run beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from assistant.procedure.model.plan import ALL_CONTACTS, CYCLE, OPEN, WAIT, WET, Plan, Step


@dataclass(frozen=True, slots=True)
class StepTimes:
    """`waited_ms`: how much of the step is waiting for contacts and cycles alone."""

    start_ms: int
    end_ms: int
    waited_ms: int


def run_times(
    steps: Sequence[Step], plan: Plan, durations_ms: Sequence[int] | None = None, listening_ms: int = 6_000
) -> list[StepTimes]:
    """Times of `steps` in order. `durations_ms` replaces the estimates, step by step. A wet step takes listening
    and its estimate (from first stroke to all wet); its contact and a started cycle run from its end."""
    now = 0
    ends: dict[str, int] = {}  # surface or cycle -> when it is over
    cycles: dict[str, int] = {}
    out = []
    for i, step in enumerate(steps):
        start, waited = now, 0
        if step.kind == WAIT:
            names = [n for n in ends if n not in cycles] if ALL_CONTACTS in step.wait_for else []
            until = max([ends.get(n, now) for n in (*names, *step.wait_for)], default=now)
            waited = max(0, until - now)
            now += waited
        else:
            own = durations_ms[i] if durations_ms is not None else step.expected_ms
            if step.kind == WET:
                # Another agent still at work on this surface is waited for first.
                waited = max(0, ends.get(step.surface, now) - now)
                now += waited + listening_ms
            now += own
        if step.kind == WET and step.contact_ms:
            ends[step.surface] = now + step.contact_ms
        elif step.kind == CYCLE and step.cycle in plan.cycles:
            ends[step.cycle] = cycles[step.cycle] = now + plan.cycles[step.cycle].duration_ms
        elif step.kind == OPEN:
            # An interlock waits for the cycles it needs.
            for cond in plan.openings[step.opening].opens_when:
                if cond.kind == "cycle" and ends.get(cond.subject, 0) > now:
                    waited += ends[cond.subject] - now
                    now = ends[cond.subject]
        out.append(StepTimes(start, now, waited))
    return out


def end_ms(times: Sequence[StepTimes], steps: Sequence[Step], plan: Plan) -> int:
    """When the whole line is over: its last step, and every contact and cycle it started."""
    last = times[-1].end_ms if times else 0
    for step, t in zip(steps, times, strict=True):
        if step.kind == WET:
            last = max(last, t.end_ms + step.contact_ms)
        elif step.kind == CYCLE:
            last = max(last, t.end_ms + plan.cycles[step.cycle].duration_ms)
    return last


def clock(ms: int) -> str:
    """A time as read: 754 000 ms -> "12 min 34 s"."""
    minutes, seconds = divmod(round(ms / 1000), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes:02d} min" if hours else f"{minutes} min {seconds:02d} s"
