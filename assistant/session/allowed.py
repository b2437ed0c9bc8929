"""Which commands can be answered in which mode. The station makes exactly these active for the listener."""

from __future__ import annotations

from assistant.procedure.plan import CHECK, WAIT, WET, Plan
from assistant.session import words as w
from assistant.session.lookup import step_of
from assistant.session.state import FINAL_MODES, State

# Answered wherever work is open, whatever the mode.
ANYWHERE = frozenset((*w.QUESTIONS, *w.MANNERS, w.STOP, w.KEYS))
# Also possible wherever a step is underneath.
AT_WORK = frozenset((w.TROUBLE, w.CORRECTION, w.GO_BACK, w.PAUSE, *w.MISHAPS))

_BY_MODE: dict[str, frozenset[str]] = {
    "idle": frozenset(),
    "option": ANYWHERE | {w.CONFIRM, w.NO, "fire"},
    "ready": frozenset(),
    "step": ANYWHERE | AT_WORK | {w.CONFIRM, w.SKIP},
    "value": ANYWHERE | AT_WORK | {w.SKIP},
    "value_back": ANYWHERE | AT_WORK | {w.CONFIRM, w.NO},
    "read_back": ANYWHERE | AT_WORK | {w.CONFIRM, w.NO},
    "witness": ANYWHERE | AT_WORK | {w.NO, w.SKIP},
    "wait": ANYWHERE | AT_WORK,
    "rewet": ANYWHERE | AT_WORK | {w.CONFIRM, w.STARTED},
    "trouble": ANYWHERE | {w.CANCEL, *w.MISHAPS},
    "which": ANYWHERE | {w.CANCEL, *w.MISHAPS},
    "paused": ANYWHERE | (AT_WORK - {w.PAUSE}) | {w.RESUME},
    "stopping": (ANYWHERE | {w.CONFIRM, w.CANCEL, w.RESUME, "fire"}) - {w.STOP},
    "recover": ANYWHERE | {w.CONFIRM, w.NO, "fire"},
}


def allowed_words(plan: Plan, state: State) -> frozenset[str]:
    """The command ids that count now. Empty before the start and after the end."""
    if state.mode in FINAL_MODES:
        return frozenset()
    found = set(_BY_MODE[state.mode])
    step = step_of(plan, state)
    if state.mode == "step" and step is not None:
        if step.kind == CHECK:
            found.add(w.NO)
        if step.kind == WET and state.stroke_ms < 0:
            found.add(w.STARTED)
    if state.mode == "which" and plan.mishaps.get(state.mishap) and plan.mishaps[state.mishap].asks_which:
        found |= {w.COMPUTER, w.ENCLOSURE}
    if step is not None and step.kind == WAIT:
        found.discard(w.SKIP)
    known = {mishap.word for mishap in plan.mishaps.values()}
    return frozenset(word for word in found if word not in w.MISHAPS or word in known)


def expects(plan: Plan, state: State) -> str | None:
    """The kind of value that can be answered now: number, lot, date, or None."""
    if state.mode == "value":
        step = step_of(plan, state)
        return step.value_kind if step is not None else None
    if state.mode == "which" and state.which:
        return "number"
    return None
