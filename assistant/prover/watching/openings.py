"""Doors, panels and the fan: `interlock`, `opening_conditions`, `fan`."""

from __future__ import annotations

from assistant.procedure.model.plan import CYCLE, OPEN
from assistant.prover.truth import Truth
from assistant.prover.watching.site import Found, Site
from assistant.session.facts.machine import CycleStarted, MachineSet, OpeningMoved
from assistant.session.facts.steps import StepStarted


def step_started(site: Site, t: Truth, fact: StepStarted, found: Found) -> None:
    kind, _, opening, cycle = site.shape(fact.step)
    if kind == OPEN:
        _may_open(site, t, opening, found)
    elif kind == CYCLE:
        _may_start(site, t, cycle, found)


def opening_moved(site: Site, t: Truth, fact: OpeningMoved, found: Found) -> None:
    if fact.to != "closed" and not t.environment:
        _may_open(site, t, fact.opening, found)


def cycle_started(site: Site, t: Truth, fact: CycleStarted, found: Found) -> None:
    _may_start(site, t, fact.cycle, found)


def machine_set(site: Site, t: Truth, fact: MachineSet, found: Found) -> None:
    chamber = [o for o in t.open_since if o in site.need.openings and site.need.openings[o].chamber]
    if fact.machine in site.need.fans and fact.value == "off" and chamber and not t.environment:
        found.append(("fan", f"the fan is switched off while {site.the(chamber[0])} is open"))


def _may_open(site: Site, t: Truth, opening: str, found: Found) -> None:
    need = site.need.openings.get(opening)
    if need is None or opening in t.open_since:
        return
    name = site.the(opening)
    for group in site.need.interlocks:
        for other in sorted(group - {opening}) if opening in group else ():
            if other in t.open_since:
                found.append(("interlock", f"{name} is opened while {site.the(other)} is open"))
    for cond in need.opens_when:
        if not site.holds(t, cond):
            found.append(("opening_conditions", f"{name} is opened, but {site.unmet(cond)}"))
    if need.chamber and any(t.machines.get(fan) == "off" for fan in site.need.fans):
        found.append(("fan", f"{name} is opened with the fan off"))


def _may_start(site: Site, t: Truth, cycle: str, found: Found) -> None:
    need = site.need.cycles.get(cycle)
    for cond in need.starts_when if need else ():
        if not site.holds(t, cond):
            what = f"{site.the(cycle)} is started, but {site.unmet(cond)}"
            found.append(("opening_conditions", what))
