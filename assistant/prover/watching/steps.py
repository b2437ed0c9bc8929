"""When a step may begin: `hands`, `nothing_idle`, `stands_alone`, and that nothing follows a mishap that ends the
run (`mishap_steps`)."""

from __future__ import annotations

from assistant.procedure.model.plan import CLOSE, MACHINE, MOVE, OPEN, WAIT
from assistant.prover import naming
from assistant.prover.truth import Truth
from assistant.prover.watching.site import BRIDGE, Found, Site
from assistant.prover.watching.urgency import is_way_out
from assistant.session.facts.contacts import RewetAsked
from assistant.session.facts.machine import OpeningMoved
from assistant.session.facts.steps import StepStarted

_NO_WORK = ("bridge:wait:", "bridge:person:")  # generated steps that ask nothing of the enclosure


def step_started(site: Site, t: Truth, fact: StepStarted, found: Found) -> None:
    step_id = fact.step
    if t.must_end:
        found.append(("mishap_steps", f"work goes on although {naming.mishap(site.plan, t.must_end)} ends the run"))
    if step_id.startswith(BRIDGE) and not t.departed and not step_id.startswith(_NO_WORK):
        found.append(("stands_alone", (
            f"the main line needs a step the site didn't write: {site.step_told(step_id)}{_before(site, t)}")))
    kind, reach, opening, _ = site.shape(step_id)
    if kind not in (MOVE, WAIT) and reach and reach != t.hands and not is_way_out(site, fact.branch, reach):
        where = f"{naming.hands(reach)}; they are {naming.hands(t.hands)}"
        found.append(("hands", f"{site.step_told(step_id)} needs the hands {where}"))
    task = site.task(fact)
    if task and task.read_from and t.hands not in task.read_from:
        found.append(("hands", f"{site.step_told(step_id)} can't be read with the hands {naming.hands(t.hands)}"))
    if not t.departed and _is_idle(site, t, step_id, kind, opening):
        found.append(("nothing_idle", f"{site.step_told(step_id)} asks for what is so already"))


def _before(site: Site, t: Truth) -> str:
    """Which step of the file comes next, so that the author knows where one is missing."""
    following = site.still_open(t)
    return f", before {following}" if following else ""


def _is_idle(site: Site, t: Truth, step_id: str, kind: str, opening: str) -> bool:
    step = site.steps.get(step_id)
    if kind in (OPEN, CLOSE):
        return (opening in t.open_since) == (kind == OPEN)
    if kind == MOVE and step is not None:
        return step.hands == t.hands
    return kind == MACHINE and step is not None and t.machines.get(step.machine) == step.machine_value


def rewet_asked(site: Site, t: Truth, fact: RewetAsked, found: Found) -> None:
    wet = t.wet.get(fact.surface)
    step = site.steps.get(wet.step) if wet else None
    if step is not None and step.reach and step.reach != t.hands:
        found.append(("hands", f"re-wetting {site.the(fact.surface)} needs the hands {naming.hands(step.reach)}"))


def opening_moved(site: Site, t: Truth, fact: OpeningMoved, found: Found) -> None:
    need = site.need.openings.get(fact.opening)
    if fact.to != "closed" and not t.environment and need is not None and need.reach != t.hands:
        where = f"{naming.hands(t.hands)}; it needs them {naming.hands(need.reach)}"
        found.append(("hands", f"{site.the(fact.opening)} is opened with the hands {where}"))
