"""`way_open`: nothing is wetted, first or again, and nothing passed through, with a tray down or a door shut that is
lifted or open at that step's place in the file."""

from __future__ import annotations

from assistant.prover.truth import Truth
from assistant.prover.watching.site import Found, Site
from assistant.session.facts.contacts import RewetAsked
from assistant.session.facts.steps import StepStarted

_NOTHING: tuple[frozenset[str], frozenset[str]] = (frozenset(), frozenset())


def rewet_asked(site: Site, t: Truth, fact: RewetAsked, found: Found) -> None:
    wet = t.wet.get(fact.surface)
    open_, lifted = site.ways(t.options).get(wet.step, _NOTHING) if wet else _NOTHING
    away = [f"{site.the(o)} closed" for o in sorted(open_ - t.open_since.keys())]
    away += [f"{site.the(tray)} not lifted" for tray in sorted(lifted - t.lifted)]
    if away and not t.skipped:
        found.append(("way_open", f"{site.the(fact.surface)}: asked to be wetted again with {away[0]}"))


def step_started(site: Site, t: Truth, fact: StepStarted, found: Found) -> None:
    task = site.task(fact)
    if task is None or t.skipped:
        return
    open_, lifted = site.ways(t.options).get(task.id, _NOTHING)
    shut = sorted(open_ - t.open_since.keys())
    down = sorted(lifted - t.lifted)
    if shut:
        found.append(("way_open", f"{site.step_told(task.id)} is asked for with {site.the(shut[0])} closed"))
    elif down:
        found.append(("way_open", f"{site.step_told(task.id)} is asked for with {site.the(down[0])} not lifted"))
