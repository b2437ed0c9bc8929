"""What may be confirmed: `read_back`, `values`, and witnesses (`nothing_missing`)."""

from __future__ import annotations

from assistant.procedure.model.plan import CHECK, OPEN, READING
from assistant.prover.truth import Truth
from assistant.prover.watching.site import Found, Site
from assistant.session.facts.steps import StepConfirmed, ValueAccepted


def value_accepted(site: Site, t: Truth, fact: ValueAccepted, found: Found) -> None:
    task = site.need.task(fact.step)
    if task is not None and task.dated and site.plan.today and fact.value < site.plan.today:
        found.append(("values", f"the passed date {fact.value} was taken at {site.step_told(fact.step)}"))


def step_confirmed(site: Site, t: Truth, fact: StepConfirmed, found: Found) -> None:
    step_id = fact.step
    kind, _, opening, _ = site.shape(step_id)
    need = site.need.openings.get(opening)
    if kind == OPEN and need and need.read_back and t.read_back != step_id:
        found.append(("read_back", f"{site.step_told(step_id)} opens {site.the(opening)} without a read back"))
    task = site.task(fact)
    if task is None:
        return
    if task.witnessed and t.witnessed != step_id:
        found.append(("nothing_missing", f"{site.step_told(step_id)} was confirmed without its witness"))
    if t.value and task.kind in (READING, CHECK):
        found.append(("values", f"{site.step_told(step_id)} was confirmed although the answer was {t.value}"))
