"""`waits_kept`: no step begins before what the site waits for is over, and no wait ends before."""

from __future__ import annotations

from assistant.procedure.model.plan import ALL_CONTACTS, WAIT
from assistant.prover.requirements import Task
from assistant.prover.truth import Truth
from assistant.prover.watching.site import Found, Site
from assistant.session.facts.steps import StepStarted, WaitEnded


def step_started(site: Site, t: Truth, fact: StepStarted, found: Found) -> None:
    task = site.task(fact)
    if task is None or task.kind == WAIT:
        return
    at = site.need.order[task.id]
    for wait in site.waits:
        wait_at = site.need.order[wait.id]
        if wait_at >= at:
            return
        if all(t.options.get(o, False) == v for o, v in wait.when):
            problem = _still_running(site, t, wait, wait_at) or _passed_by(site, t, wait, wait_at)
            if problem:
                found.append(("waits_kept", f"{site.step_told(task.id)} begins {problem}"))
                return


def _still_running(site: Site, t: Truth, wait: Task, wait_at: int) -> str:
    for surface, wet in t.wet.items():
        earlier = site.need.order.get(wet.step, wait_at) < wait_at
        if earlier and (ALL_CONTACTS in wait.wait_for or surface in wait.wait_for):
            return f"while the contact on {site.the(surface)} runs"
    for name in wait.wait_for:
        if name in site.need.cycles and t.cycles.get(name, ("", 0))[0] == "running":
            return f"while {site.the(name)} runs"
    return ""


def _passed_by(site: Site, t: Truth, wait: Task, wait_at: int) -> str:
    """On the main line, where nothing was undone, each wait must itself have been gone through."""
    if wait.id in t.done or t.skipped or not wait.wait_for or t.departed:
        return ""
    open_before = any(site.need.order.get(w.step, wait_at) < wait_at for w in t.wet.values())
    return "" if open_before else f", but nobody waited at {site.step_told(wait.id)}"


def wait_ended(site: Site, t: Truth, fact: WaitEnded, found: Found) -> None:
    task = site.task(fact)
    for name in task.wait_for if task else ():
        if name in site.need.cycles and t.cycles.get(name, ("", 0))[0] != "complete":
            found.append(("waits_kept", f"{site.step_told(fact.step)} ended, but {site.the(name)} isn't complete"))
