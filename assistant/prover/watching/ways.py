"""`way_open`: no surface is wetted, first or again, with a tray down or a door shut that is lifted or open at that
step's place in the file."""

from __future__ import annotations

from assistant.procedure.plan import WET
from assistant.prover.truth import Truth
from assistant.prover.watching.site import Found, Site


def step_started(site: Site, t: Truth, fact, found: Found) -> None:
    task = site.task(fact)
    if task is None or task.kind != WET or t.skipped:
        return
    open_, lifted = site.ways(t.options).get(task.id, (frozenset(), frozenset()))
    shut = sorted(open_ - t.open_since.keys())
    down = sorted(lifted - t.lifted)
    if shut:
        found.append(("way_open", f"{site.step_told(task.id)} is asked for with {site.the(shut[0])} closed"))
    elif down:
        found.append(("way_open", f"{site.step_told(task.id)} is asked for with {site.the(down[0])} not lifted"))
