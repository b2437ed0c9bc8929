"""What each fact of the core changes in what is so. Bookkeeping only; what must hold is in `watching/`."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal, InvalidOperation
from typing import Any

from assistant.procedure.model.plan import CLOSE, CYCLE, OPEN, READING, WAIT, WET
from assistant.prover.truth import Truth, WetNow
from assistant.prover.watching.site import Site
from assistant.prover.watching.trays import LIFT, moves_tray
from assistant.session.facts.contacts import (
    ContactCompleted,
    ContactStarted,
    ContactVoided,
    PatchDried,
    RewetAsked,
    RewetConfirmed,
    RewetResumed,
    SurfaceDried,
)
from assistant.session.facts.machine import (
    CycleBroken,
    CycleCompleted,
    CycleStarted,
    HandsMoved,
    LimitMissed,
    MachineSet,
    OpeningMoved,
)
from assistant.session.facts.session import OptionAnswered, PersonChanged, SessionBegun, VerdictReached
from assistant.session.facts.steps import (
    CheckAnswered,
    ClaimDropped,
    CorrectionMade,
    ReadBackAsked,
    StepConfirmed,
    StepOwed,
    StepSkipped,
    StepStarted,
    ValueAccepted,
    WaitEnded,
    WitnessGiven,
)
from assistant.session.facts.troubles import BranchEntered, BranchLeft, Recovered, RecoveryAnswered

# --- the session ---


def _person(site: Site, t: Truth, fact: SessionBegun | PersonChanged) -> None:
    t.person = fact.person


def _option_answered(site: Site, t: Truth, fact: OptionAnswered) -> None:
    t.options = {**t.options, fact.option: fact.value}


def _verdict_reached(site: Site, t: Truth, fact: VerdictReached) -> None:
    t.over = fact.verdict


# --- steps ---


def _step_started(site: Site, t: Truth, fact: StepStarted) -> None:
    t.environment = t.found_other = False
    t.current, t.read_back, t.witnessed, t.value = fact.step, "", "", ""
    task, step = site.task(fact), site.steps.get(fact.step)
    t.here = task.surface if task else step.surface if step else ""


def _read_back_asked(site: Site, t: Truth, fact: ReadBackAsked) -> None:
    if fact.what == "confirm":
        t.read_back = fact.step


def _claim_dropped(site: Site, t: Truth, fact: ClaimDropped) -> None:
    t.read_back = ""


def _witness_given(site: Site, t: Truth, fact: WitnessGiven) -> None:
    if fact.person and fact.person != t.person:
        t.witnessed = fact.step


def _value_accepted(site: Site, t: Truth, fact: ValueAccepted) -> None:
    task = site.need.task(fact.step)
    if task is not None and task.kind == READING and not task.pass_outside:
        t.value = fact.value if _outside(fact.value, task.low, task.high) else ""


def _check_answered(site: Site, t: Truth, fact: CheckAnswered) -> None:
    task = site.need.task(fact.step)
    t.value = "no" if not fact.yes and task is not None and not task.pass_outside else ""


def _step_confirmed(site: Site, t: Truth, fact: StepConfirmed) -> None:
    kind, _, _, _ = site.shape(fact.step)
    if site.task(fact):
        t.confirmed_ms = {**t.confirmed_ms, fact.step: fact.claimed_ms}
    task = site.task(fact)
    if task is not None and moves_tray(task):
        t.lifted = t.lifted | {task.tray} if task.role == LIFT else t.lifted - {task.tray}
    # What the main line wets or starts is done once its time is over; a branch has a wait of its own for that.
    if kind not in (WET, CYCLE) or fact.branch:
        t.done |= {fact.step}
        t.stale_waste -= {fact.step}
    t.current = t.value = ""


def _wait_ended(site: Site, t: Truth, fact: WaitEnded) -> None:
    t.done |= {fact.step}


def _step_skipped(site: Site, t: Truth, fact: StepSkipped) -> None:
    t.departed = True
    t.skipped |= {fact.step}


def _step_owed(site: Site, t: Truth, fact: StepOwed) -> None:
    t.departed = True
    task = site.need.task(fact.step)
    if task is not None and task.kind == WAIT:
        t.done -= {fact.step}


def _correction_made(site: Site, t: Truth, fact: CorrectionMade) -> None:
    """What the technician takes back wasn't so."""
    t.departed = t.environment = True
    t.asked_again = ()
    if fact.step.startswith("rewet:"):
        t.dry(fact.step.removeprefix("rewet:"))
        return
    if fact.step.startswith("skip:"):
        t.skipped -= {fact.step.removeprefix("skip:")}
        return
    kind, _, opening, cycle = site.shape(fact.step)
    t.done -= {fact.step}
    step = site.steps.get(fact.step)
    if kind == WET and step is not None:
        t.treated -= {fact.step}
        wet = t.wet.get(step.surface)
        if wet is not None and wet.step == fact.step:
            t.dry(step.surface)
    elif kind == CLOSE:
        _opened(site, t, opening, fact.at_ms)
    elif kind == OPEN:
        t.set_open(opening, "closed", fact.at_ms)
    elif kind == CYCLE:
        t.break_cycle(cycle)


# --- wet surfaces ---


def _contact_started(site: Site, t: Truth, fact: ContactStarted) -> None:
    wet = site.wet_ms(t, fact.agent, fact.surface)
    since = max(fact.wet_since_ms, t.confirmed_ms.get(fact.step, 0))  # nobody said before that it is wet all over
    t.set_wet(fact.surface, WetNow(fact.step, fact.agent, since, fact.stroke_ms + wet))
    at = site.need.order.get(fact.step)
    if at is not None:  # its wipe has to leave too
        t.stale_waste |= {w.id for w in site.waste if w.id in t.done and site.need.order[w.id] > at}


def _patch_dried(site: Site, t: Truth, fact: PatchDried) -> None:
    t.patch = {**t.patch, (fact.orientation, fact.agent): fact.measured_ms}


def _rewet_asked(site: Site, t: Truth, fact: RewetAsked) -> None:
    t.not_asked_again(fact.surface)
    t.asked_again = (*t.asked_again, fact.surface)


def _rewet_resumed(site: Site, t: Truth, fact: RewetResumed) -> None:
    t.asked_again = fact.surfaces


def _rewet_confirmed(site: Site, t: Truth, fact: RewetConfirmed) -> None:
    wet = t.wet.get(fact.surface)
    if wet is None:
        return
    if fact.claimed_ms >= wet.dries_ms:
        t.dry(fact.surface)  # too late: from here on nothing counts for it
    else:
        t.again_wet(fact.surface, fact.stroke_ms + site.wet_ms(t, wet.agent, fact.surface))


def _surface_dried(site: Site, t: Truth, fact: SurfaceDried) -> None:
    t.departed = True
    if fact.phase == "contact":
        t.dry(fact.surface)


def _contact_voided(site: Site, t: Truth, fact: ContactVoided) -> None:
    t.dry(fact.surface)


def _contact_completed(site: Site, t: Truth, fact: ContactCompleted) -> None:
    wet = t.wet.get(fact.surface)
    if wet is None:
        return
    task = site.need.task(wet.step)
    if task is None or (task.agent == wet.agent and task.surface == fact.surface):
        t.treated |= {wet.step}
        t.spoiled -= {wet.step}
    t.dry(fact.surface)


# --- the enclosure ---


def _opened(site: Site, t: Truth, opening: str, at_ms: int) -> None:
    if opening not in t.open_since:
        t.missed -= {f"opening:{opening}"}
    t.set_open(opening, "open", at_ms)
    for cycle, need in site.need.cycles.items():
        if opening in need.broken_by_openings:
            t.break_cycle(cycle)


def _opening_moved(site: Site, t: Truth, fact: OpeningMoved) -> None:
    if fact.to == "closed":
        t.set_open(fact.opening, "closed", fact.at_ms)
    else:
        _opened(site, t, fact.opening, fact.at_ms)


def _hands_moved(site: Site, t: Truth, fact: HandsMoved) -> None:
    t.hands = fact.to


def _machine_set(site: Site, t: Truth, fact: MachineSet) -> None:
    t.machines = {**t.machines, fact.machine: fact.value}


def _cycle_started(site: Site, t: Truth, fact: CycleStarted) -> None:
    t.set_cycle(fact.cycle, "running", fact.started_ms)
    starter = next((
        x.id for x in site.need.tasks
        if x.kind == CYCLE and x.cycle == fact.cycle and t.confirmed_ms.get(x.id) == fact.started_ms
    ), "")
    t.cycle_task = {**t.cycle_task, fact.cycle: starter}


def _cycle_completed(site: Site, t: Truth, fact: CycleCompleted) -> None:
    _, since = t.cycles.get(fact.cycle, ("", 0))
    t.set_cycle(fact.cycle, "complete", since)
    if t.cycle_task.get(fact.cycle):
        t.done |= {t.cycle_task[fact.cycle]}
        t.spoiled -= {t.cycle_task[fact.cycle]}


def _cycle_broken(site: Site, t: Truth, fact: CycleBroken) -> None:
    t.break_cycle(fact.cycle)


def _limit_missed(site: Site, t: Truth, fact: LimitMissed) -> None:
    t.missed |= {fact.limit}
    t.departed = True


# --- troubles ---


def _branch_entered(site: Site, t: Truth, fact: BranchEntered) -> None:
    t.departed = True
    t.branches = (*(b for b in t.branches if b != fact.mishap), fact.mishap)
    need = site.need.mishaps.get(fact.mishap)
    if need is None or fact.done:  # opened again for one step that was taken back
        return
    t.done -= set(need.steps)
    for surface in site.spoiled(t, need, fact.surface):
        wet = t.wet.get(surface)
        lost = {x.id for x in site.need.tasks if x.kind == WET and x.surface == surface and x.id in t.treated}
        if wet is not None:
            lost.add(wet.step)
        if need.word == "dry_surface" and wet is not None:
            lost = {wet.step}  # only what was wet has dried
        t.dry(surface)
        t.treated -= lost
        t.spoiled |= lost
    for cycle, spec in site.need.cycles.items():
        broken = need.breaks_cycles or need.word in spec.broken_by
        if broken and t.cycles.get(cycle, ("", 0))[0] in ("running", "complete"):
            t.break_cycle(cycle)
            task = t.cycle_task.get(cycle)
            if task:
                t.done -= {task}
                t.spoiled |= {task}


def _branch_left(site: Site, t: Truth, fact: BranchLeft) -> None:
    t.branches = tuple(b for b in t.branches if b != fact.mishap)
    t.here = ""
    need = site.need.mishaps.get(fact.mishap)
    if need and need.then != "resume":
        t.must_end = fact.mishap


def _recovered(site: Site, t: Truth, fact: Recovered) -> None:
    """Nobody watched: nothing wet counts, no cycle serves as a condition any more."""
    t.departed = True
    t.wet = {}
    t.asked_again = ()
    for cycle in list(t.cycles):
        t.break_cycle(cycle)
    t.here = ""


def _recovery_answered(site: Site, t: Truth, fact: RecoveryAnswered) -> None:
    if not fact.yes:
        t.environment = t.found_other = True


def _outside(value: str, low: str, high: str) -> bool:
    try:
        number = Decimal(value)
    except InvalidOperation:
        return True
    return bool((low and number < Decimal(low)) or (high and number > Decimal(high)))


CHANGES: dict[str, Callable[[Site, Truth, Any], None]] = {
    "session_begun": _person, "person_changed": _person, "option_answered": _option_answered,
    "verdict_reached": _verdict_reached, "step_started": _step_started, "read_back_asked": _read_back_asked,
    "claim_dropped": _claim_dropped, "witness_given": _witness_given, "value_accepted": _value_accepted,
    "check_answered": _check_answered, "step_confirmed": _step_confirmed, "wait_ended": _wait_ended,
    "step_skipped": _step_skipped, "step_owed": _step_owed, "correction_made": _correction_made,
    "contact_started": _contact_started, "patch_dried": _patch_dried, "rewet_asked": _rewet_asked,
    "rewet_resumed": _rewet_resumed, "rewet_confirmed": _rewet_confirmed,
    "surface_dried": _surface_dried, "contact_voided": _contact_voided, "contact_completed": _contact_completed,
    "opening_moved": _opening_moved, "hands_moved": _hands_moved, "machine_set": _machine_set,
    "cycle_started": _cycle_started, "cycle_completed": _cycle_completed, "cycle_broken": _cycle_broken,
    "limit_missed": _limit_missed, "branch_entered": _branch_entered, "branch_left": _branch_left,
    "recovered": _recovered, "recovery_answered": _recovery_answered,
}
