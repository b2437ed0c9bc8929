"""Every comparison of the core with time: the thresholds of a state, earliest first.

`decide` handles what is due, the station sleeps until the next one, and the proof walks just before, at and
after each. Windows are half-open: a surface that stays wet for 60 s is dry at exactly 60 s, and where it dries
and would be finished in the same millisecond, it has dried.
"""

from __future__ import annotations

from typing import NamedTuple

from assistant.procedure.model.plan import WET, Plan, Step
from assistant.session.lookup import holds, in_reach, interrupted, step_of, wait_left
from assistant.session.state import FINAL_MODES, RUNNING, State

# What happens first when two fall on one millisecond: always the less welcome.
DRIED, LIMIT_MISSED, LIMIT_WARN, REWET, COMPLETE, CYCLE, MARK = range(7)

# Modes in which a re-wet can be asked for; elsewhere a question is open that must be answered first.
_REWET_MODES = frozenset(("step", "value", "value_back", "read_back", "witness", "wait", "paused", "rewet"))


class Threshold(NamedTuple):
    """At `at_ms` the state changes by itself. `rank` is one of the constants above; `subject` what of."""

    at_ms: int
    rank: int
    subject: str


def wet_ms_today(plan: Plan, state: State, step: Step) -> int:
    """How long this step's surface stays wet today: the patch test's figure, never longer than the file's."""
    surface = plan.surfaces.get(step.surface)
    measured = state.patch_ms.get((surface.orientation, step.agent)) if surface else None
    return step.wet_ms if measured is None else min(measured, step.wet_ms)


def thresholds(plan: Plan, state: State) -> list[Threshold]:
    """What the passing of time alone will bring, sorted. Empty in a final mode and before the start."""
    if state.mode in FINAL_MODES or state.mode == "idle":
        return []
    found: list[Threshold] = []
    for contact in state.contacts.values():
        found.append(Threshold(contact.dries_at_ms, DRIED, contact.surface))
        found.append(Threshold(contact.complete_at_ms, COMPLETE, contact.surface))
        if contact.rewet_at_ms and contact.asked_ms < 0 and can_ask_rewet(plan, state, contact.surface):
            found.append(Threshold(contact.rewet_at_ms, REWET, contact.surface))
    step = step_of(plan, state)
    if step is not None and step.kind == WET:
        first, wet = state.stroke_ms if state.stroke_ms >= 0 else state.since_ms, wet_ms_today(plan, state, step)
        if wet > 0:  # a surface that can't stay wet at all is dry when it is claimed, not over and over before
            found.append(Threshold(first + wet, DRIED, f"wetting:{step.surface}"))
    for run in state.cycles.values():
        if run.status == RUNNING:
            found.append(Threshold(run.due_ms, CYCLE, run.cycle))
    found.extend(_limits(plan, state))
    if state.mode == "wait" and step is not None:
        end = wait_left(plan, state, step)
        found.extend(
            Threshold(end - mark, MARK, str(mark))
            for mark in plan.countdown_ms
            if mark not in state.marks and end - mark > state.since_ms
        )
    found.sort()
    return found


def can_ask_rewet(plan: Plan, state: State, surface: str) -> bool:
    """Whether the person could wet it now: no other question is open, the hands are there, the way is open, and nobody
    and nothing more urgent is being seen to."""
    step = plan.step(state.contacts[surface].step)
    return state.mode in _REWET_MODES and in_reach(state, step) and not interrupted(plan, state, step.id)


def _limits(plan: Plan, state: State) -> list[Threshold]:
    found = []
    for opening, since in state.opened_ms.items():
        spec = plan.openings[opening]
        if spec.max_open_ms:
            found.append((f"opening:{opening}", since + spec.max_open_ms, spec.warn_ms))
    for frame in state.frames:
        for step in plan.timed_steps(frame.branch):
            if step.after_step not in state.confirmed_ms or not holds(state, step):
                continue
            if step.id not in frame.done and step.id not in frame.skipped:
                due = state.confirmed_ms[step.after_step] + step.within_ms
                # Nobody could hurry now; if it is missed, that is said afterwards.
                warn = 0 if interrupted(plan, state, step.id) else step.warn_ms
                found.append((f"step:{step.id}", due, warn))
    out = []
    for limit, due, warn in found:
        if limit in state.missed:
            continue
        out.append(Threshold(due, LIMIT_MISSED, limit))
        if warn and limit not in state.warned:
            out.append(Threshold(due - warn, LIMIT_WARN, limit))
    return out


def next_deadline_ms(plan: Plan, state: State) -> int | None:
    """When to look again if nothing is heard, or None."""
    found = thresholds(plan, state)
    return found[0].at_ms if found else None
