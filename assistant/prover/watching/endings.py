"""How a run may end: `no_dead_end`, `nothing_missing`, `redo` at the end, `end_state`, `waste_out`."""

from __future__ import annotations

from assistant.procedure.model.plan import CLOSE, INSTRUCT, MACHINE, MOVE, OPEN, WET
from assistant.prover import naming
from assistant.prover.requirements import Task
from assistant.prover.truth import Truth
from assistant.prover.watching.site import Found, Site
from assistant.session.facts.session import VerdictReached
from assistant.session.facts.troubles import Deviation

_MOST = 3  # of one kind; a run that misses thirty steps is told by its first three


def deviation(site: Site, t: Truth, fact: Deviation, found: Found) -> None:
    if fact.code == "dead_end":
        following = site.still_open(t)
        what = f"nothing leads on to {following}" if following else "there is nothing left to do that would lead on"
        found.append(("no_dead_end", what))


def verdict_reached(site: Site, t: Truth, fact: VerdictReached, found: Found) -> None:
    if fact.verdict != "complete":
        return
    _missing(site, t, found)
    _left_running(site, t, found)
    _left_as_it_belongs(site, t, found)
    for task_id, missing in site.never_out(t.options)[:_MOST]:
        found.append(("waste_out", f"the run ended as complete, but after {site.step_told(task_id)} {missing}"))
    for task_id in sorted(t.stale_waste)[:_MOST]:
        found.append((
            "waste_out",
            f"the run ended as complete, but after {site.step_told(task_id)} something was wiped again, and that "
            "step wasn't done again",
        ))


def _missing(site: Site, t: Truth, found: Found) -> None:
    need = site.need
    applies = need.applies(t.options)
    for task in [task for task in applies if not _is_done(t, task)][:_MOST]:
        prop = "redo" if task.id in t.spoiled else "nothing_missing"
        what = "was spoiled and not done again" if prop == "redo" else "is missing"
        found.append((prop, f"the run ended as complete, but {site.step_told(task.id)} {what}"))
    treated = {task.surface for task in need.tasks if task.id in t.treated}
    # An answer at the start leaves these out.
    never = {task.surface for task in need.tasks} - {task.surface for task in applies}
    for surface in sorted(need.covers - treated - never)[:_MOST]:
        found.append(("nothing_missing", f"the run ended as complete, but {site.the(surface)} was never treated"))


def leaves_a_trace(task: Task) -> bool:
    """Whether doing the step is remembered by itself; of the others, other properties see what they bring about."""
    return bool(task.role) or task.witnessed or task.kind not in (INSTRUCT, OPEN, CLOSE, MOVE, MACHINE)


def _is_done(t: Truth, task: Task) -> bool:
    if task.kind == WET:
        return task.id in t.treated
    return task.id in t.done or not leaves_a_trace(task)


def _left_running(site: Site, t: Truth, found: Found) -> None:
    if t.wet:
        surface = sorted(t.wet)[0]
        found.append(("nothing_missing", f"the run ended as complete while a contact runs on {site.the(surface)}"))
    for cycle, (status, _) in t.cycles.items():
        if status == "running":
            found.append(("nothing_missing", f"the run ended as complete while {site.the(cycle)} runs"))


def _left_as_it_belongs(site: Site, t: Truth, found: Found) -> None:
    for name, spec in site.need.openings.items():
        at = "open" if name in t.open_since else "closed"
        if at != spec.at_end:
            found.append(("end_state", f"the run ended as complete with {site.the(name)} {at}"))
    for machine, value in site.need.machines_at_end.items():
        if t.machines.get(machine) != value:
            found.append(("end_state", f"the run ended as complete with {site.the(machine)} {t.machines.get(machine)}"))
    if t.hands != site.need.end_hands:
        found.append(("end_state", f"the run ended as complete with the hands {naming.hands(t.hands)}"))
