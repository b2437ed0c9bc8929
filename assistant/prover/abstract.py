"""When two states of the search count as one.

Kept is every field of the core's state that a decision reads. In place of moments stands the order in which time
will bring its next changes (dried, re-wet, complete, cycle over): two runs that agree in everything but how far off
those are, are taken as one, and go on with the times of the first. Time limits are left out of the order: each is
passed once from every state, as a move of its own. So what is proven holds for the moments tried: at the author's
pace, 1 ms before, at and after the next change.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import fields

from assistant.procedure.model.plan import Plan
from assistant.session.lookup import step_of
from assistant.session.state import FINAL_MODES, RUNNING, State
from assistant.session.timing.ages import LEFT_OUT
from assistant.session.timing.timers import LIMIT_MISSED, LIMIT_WARN, MARK, thresholds

_HERE = frozenset((
    "mode", "under", "current", "hands", "frames", "asked", "questioned", "value", "which", "mishap", "surfaces",
    "openings", "machines", "options", "contacts", "cycles", "confirmed", "announce", "rewets", "questions",
    "verdict", "hands_before", "patch_ms", "person", "question_depth", "noted",
))
# Speech, limits (see above), what only a voice at the microphone changes, and how often a surface has dried: that
# leads to a question, which the core's own tests answer in every way.
_NOT = frozenset(("dryings", "warned", "missed", "just_done", "open_lines", "voice", "announce", "values"))
# A field the core gets later counts as it is, unless it is a moment.
_OTHERS = tuple(
    f.name for f in fields(State)
    if f.name not in _HERE and f.name not in _NOT and f.name not in LEFT_OUT and not f.name.endswith("_ms")
)


def _plain(value: object) -> Hashable:
    return tuple(sorted(value.items())) if isinstance(value, dict) else value


def state_key(plan: Plan, state: State) -> tuple[Hashable, Hashable]:
    """The key, in two parts: what any answer can hang on, and what only a later correction asks (the last
    confirmation, where the hands came from). Who somebody is counts only as "the same as then" or "another"."""
    if state.mode in FINAL_MODES:
        return (state.mode, state.main.done, state.main.skipped), ()
    order: list[tuple[int, str]] = []
    last_ms = -1
    for t in thresholds(plan, state):
        if t.rank in (MARK, LIMIT_MISSED, LIMIT_WARN):
            continue
        if t.at_ms == last_ms:
            order.append((-1, ""))
        order.append((t.rank, t.subject))
        last_ms = t.at_ms
    step = step_of(plan, state)
    soon = bool(step and step.impossible_ms and state.now_ms - state.since_ms < step.impossible_ms)
    return (
        state.mode, state.under, state.current, state.hands, state.asked, state.questioned, soon,
        tuple((f.branch, f.done, f.skipped, f.surface, f.person == state.person) for f in state.frames),
        state.stroke_ms >= 0, state.patch_since_ms >= 0, state.value, state.which, state.mishap,
        _plain(state.surfaces), _plain(state.openings), _plain(state.machines), _plain(state.options),
        tuple(sorted((c.surface, c.step, c.asked_ms >= 0, c.stroke_again_ms >= 0) for c in state.contacts.values())),
        tuple(sorted((c.cycle, c.status) for c in state.cycles.values())), tuple(order),
        _plain(state.patch_ms), state.rewets, tuple(mishap for mishap, _ in state.noted), state.questions, state.question_depth if state.questions else 0,
        *(_plain(getattr(state, name)) for name in _OTHERS),
    ), (state.confirmed[-1:], state.hands_before[-1:])


def place(plan: Plan, state: State) -> Hashable:
    """What kind of situation this is, coarser than the key: mishaps are tried once for each step in each."""
    step = step_of(plan, state)
    surface = plan.surfaces.get(step.surface) if step else None
    return (
        state.mode, step.kind if step else "", surface.zone if surface else "", state.hands,
        tuple(sorted(o for o, at in state.openings.items() if at == "open")),
        tuple(sorted((c, r.status) for c, r in state.cycles.items())), _plain(state.machines),
        min(len(state.contacts), 1), bool(state.rewets),
    )


def situation(state: State) -> Hashable:
    """Coarser still: where the hands are, what stands open, what runs. Mishaps two deep are tried once in each."""
    return (
        state.hands, tuple(sorted(o for o, at in state.openings.items() if at == "open")),
        any(r.status == RUNNING for r in state.cycles.values()), bool(state.contacts),
        "spoiled" in state.surfaces.values(), tuple(f.branch for f in state.frames),
    )
