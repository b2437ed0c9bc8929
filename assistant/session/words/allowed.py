"""Which commands can be answered in which mode. The station makes exactly these active for the listener."""

from __future__ import annotations

from assistant.language import spelling
from assistant.language import vocabulary as w
from assistant.procedure.model.plan import CHECK, WAIT, WET, Plan
from assistant.session.lookup import can_correct_answers, step_of
from assistant.session.order.bridges import is_bridge
from assistant.session.state import FINAL_MODES, State

# Answered wherever work is open, whatever the mode: a mishap waits for no question.
ANYWHERE = frozenset((*w.QUESTIONS, *w.MANNERS, *w.MISHAPS, w.STOP, w.KEYS))
# Also possible wherever a step is underneath.
AT_WORK = frozenset((w.TROUBLE, w.CORRECTION, w.GO_BACK, w.PAUSE))

_BY_MODE: dict[str, frozenset[str]] = {
    "idle": frozenset(),
    "option": ANYWHERE | {w.CONFIRM, w.NO, w.TROUBLE},
    "ready": frozenset(),
    "step": ANYWHERE | AT_WORK | {w.CONFIRM, w.SKIP},
    "value": ANYWHERE | AT_WORK | {w.SKIP},
    "value_back": ANYWHERE | AT_WORK | {w.CONFIRM, w.NO},
    "read_back": ANYWHERE | AT_WORK | {w.CONFIRM, w.NO},
    "witness": ANYWHERE | AT_WORK | {w.SKIP},
    "wait": ANYWHERE | AT_WORK,
    "rewet": ANYWHERE | AT_WORK | {w.REWETTED},
    "trouble": ANYWHERE | {w.CANCEL},
    "which": ANYWHERE | {w.CANCEL},
    "paused": ANYWHERE | (AT_WORK - {w.PAUSE}) | {w.RESUME},
    "stopping": (ANYWHERE | {w.CONFIRM, w.CANCEL, w.RESUME, w.TROUBLE}) - {w.STOP},
    "recover": ANYWHERE | {w.CONFIRM, w.NO, w.TROUBLE},
}


def allowed_words(plan: Plan, state: State) -> frozenset[str]:
    """The command ids that count now. Empty before the start and after the end. A mishap the plan has no branch
    for isn't listened for; named by keys it is answered all the same."""
    if state.mode in FINAL_MODES:
        return frozenset()
    found = set(_BY_MODE[state.mode])
    step = step_of(plan, state)
    if state.mode == "value" and step is not None and state.spelling and state.spelt:
        found.add(w.NO)
        if spelling.whole(step.value_kind, state.spelt):
            found.add(w.CONFIRM)
    if state.mode == "step" and step is not None:
        if step.kind == CHECK or state.questioned:
            found.add(w.NO)
        if step.kind == WET and state.stroke_ms < 0:
            found.add(w.STARTED)
        if step.id.startswith("bridge:person:sign-in"):
            found.discard(w.CONFIRM)
    elif state.mode == "witness" and state.under:
        found.add(w.NO)  # the claim can be taken back; a witness step itself has none
    elif state.mode == "rewet" and state.contacts[state.rewets[0]].stroke_again_ms < 0:
        # Where the surface at hand waits for its first stroke too, the word could mean either: it counts for none,
        # and drying is counted from the earlier moment for both.
        if step is None or step.kind != WET or state.stroke_ms >= 0:
            found.add(w.STARTED)
    elif (state.mode == "option" and (state.options or state.questioned)) or can_correct_answers(plan, state):
        found.add(w.CORRECTION)
    elif state.mode == "which" and not state.which:
        found |= {w.COMPUTER, w.ENCLOSURE}
    if step is not None and (step.kind == WAIT or is_bridge(step.id)):
        found.discard(w.SKIP)
    known = {mishap.word for mishap in plan.mishaps.values()}
    return frozenset(word for word in found if word not in w.MISHAPS or word in known)


def listened_for(plan: Plan, state: State) -> frozenset[str]:
    """The command ids that the listener must tell apart now: those that count, and `confirm` while a re-wet is asked
    for. There it can be meant for the step at hand, so it has to be heard to be answered, not taken."""
    found = allowed_words(plan, state)
    return found | {w.CONFIRM} if state.mode == "rewet" else found


def expects(plan: Plan, state: State) -> str | None:
    """The kind of value that can be answered now: number, lot, date, one sign of them (number sign, lot sign), or
    None."""
    if state.mode == "value":
        step = step_of(plan, state)
        if step is None:
            return None
        if state.spelling:
            return "lot sign" if step.value_kind == spelling.LOT else "number sign"
        return step.value_kind
    if state.mode == "which" and state.which:
        return "number"
    return None
