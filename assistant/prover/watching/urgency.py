"""A person, then the containment, then the work: `person_first`, `urgent_only` and `dried_owed`.

How urgent a mishap is comes from its file. What is asked is told by the facts: a step begun, a re-wet, a question.
"""

from __future__ import annotations

from assistant.procedure.model.plan import ROOM, URGENCIES, URGENCY_PERSON, URGENCY_WORK, Step
from assistant.prover import naming
from assistant.prover.truth import Truth
from assistant.prover.watching.site import BRIDGE, Found, Site
from assistant.session.facts.contacts import RewetAsked, RewetResumed, SurfaceDried
from assistant.session.facts.lines import Announced, LineSpoken
from assistant.session.facts.machine import LimitWarned
from assistant.session.facts.session import OptionAsked, VerdictReached
from assistant.session.facts.steps import StepOwed, StepStarted, TimeLeftSaid
from assistant.session.facts.troubles import (
    BranchEntered,
    HeldSaid,
    QuestionsResumed,
    RecoveryAnswered,
    SurfaceSpoiled,
    WhichAsked,
)

# Facts that ask or tell something and change nothing that is followed.
KINDS = (
    "rewet_resumed", "announced", "time_left_said", "limit_warned", "option_asked", "which_asked", "questions_resumed",
    "surface_spoiled", "line_spoken", "held_said",
)
_RANK = {urgency: rank for rank, urgency in enumerate(reversed(URGENCIES))}
_PERSON, _WORK = _RANK[URGENCY_PERSON], _RANK[URGENCY_WORK]


def is_way_out(site: Site, branch: str, reach: str) -> bool:
    """Whether a step of somebody in danger brings the hands out itself: nothing is asked of them before."""
    return bool(branch) and reach == ROOM and _rank(site, branch) == _PERSON


def branch_entered(site: Site, t: Truth, fact: BranchEntered, found: Found) -> None:
    need = site.need.mishaps.get(fact.mishap)
    if need and need.line and need.then != "leave" and need.urgency == URGENCY_PERSON and not fact.done:
        t.first = fact.mishap


def verdict_reached(site: Site, t: Truth, fact: VerdictReached, found: Found) -> None:
    if t.dried and _least(site, t) == _WORK:  # whoever stops in the middle of it hears it after the end
        found.append(("dried_owed", f"the run ends and nobody was told that {site.the(min(t.dried))} dried"))
    t.first = ""


def step_started(site: Site, t: Truth, fact: StepStarted, found: Found) -> None:
    if t.first:
        line = site.need.mishaps[t.first].line
        own = next((s for s, when in line if all(t.options.get(o, False) == v for o, v in when)), "")
        if own and fact.step != own:
            after = naming.mishap(site.plan, t.first)
            found.append(("person_first", f"after {after} the first words are {site.step_told(fact.step)}"))
        t.first = ""
    if t.must_owe:
        found.append(("dried_owed", f"{site.step_told(min(t.must_owe))} isn't owed although what it wetted dried"))
    least = _least(site, t)
    if least == _WORK:
        if t.dried and not fact.branch:
            what = f"the work goes on and nobody was told that {site.the(min(t.dried))} dried"
            found.append(("dried_owed", what))
    elif _rank(site, fact.branch) < least or not (fact.step.startswith(BRIDGE) or _owns(site, t, fact.step)):
        _less_urgent(site, t, site.step_told(fact.step), found)


def rewet_asked(site: Site, t: Truth, fact: RewetAsked, found: Found) -> None:
    _rewet(site, t, fact.surface, found)


def rewet_resumed(site: Site, t: Truth, fact: RewetResumed, found: Found) -> None:
    for surface in fact.surfaces:
        _rewet(site, t, surface, found)


def announced(site: Site, t: Truth, fact: Announced, found: Found) -> None:
    for ended in fact.ends:
        if _least(site, t) > _WORK and not any(ended in (s.surface, f"cycle:{s.cycle}") for s in _own_steps(site, t)):
            _less_urgent(site, t, f"the end of {ended.removeprefix('cycle:')}", found)


def time_left_said(site: Site, t: Truth, fact: TimeLeftSaid, found: Found) -> None:
    if _least(site, t) > _WORK and not (t.current.startswith(BRIDGE) or _owns(site, t, t.current)):
        _less_urgent(site, t, "a countdown", found)


def limit_warned(site: Site, t: Truth, fact: LimitWarned, found: Found) -> None:
    kind, subject = fact.limit.split(":", 1)
    least = _least(site, t)
    if least > _WORK and kind == "step" and not _owns(site, t, subject):
        _less_urgent(site, t, "the warning of a time limit", found)


def option_asked(site: Site, t: Truth, fact: OptionAsked, found: Found) -> None:
    if _least(site, t) > _WORK:
        _less_urgent(site, t, "a question of the start", found)


def which_asked(site: Site, t: Truth, fact: WhichAsked, found: Found) -> None:
    if fact.mishap in site.need.mishaps and _rank(site, fact.mishap) < _least(site, t):
        _less_urgent(site, t, f"a question about {naming.mishap(site.plan, fact.mishap)}", found)


def questions_resumed(site: Site, t: Truth, fact: QuestionsResumed | RecoveryAnswered, found: Found) -> None:
    if _least(site, t) > _WORK:
        _less_urgent(site, t, "a question after the break", found)


def recovery_answered(site: Site, t: Truth, fact: RecoveryAnswered, found: Found) -> None:
    questions_resumed(site, t, fact, found)


def surface_dried(site: Site, t: Truth, fact: SurfaceDried, found: Found) -> None:
    wet = t.wet.get(fact.surface)
    if fact.phase == "contact" and wet is not None and _least(site, t) > _WORK and not _owns(site, t, wet.step):
        t.dried |= {fact.surface}
        t.must_owe |= {wet.step}


def step_owed(site: Site, t: Truth, fact: StepOwed, found: Found) -> None:
    t.must_owe -= {fact.step}


def surface_spoiled(site: Site, t: Truth, fact: SurfaceSpoiled, found: Found) -> None:
    if _least(site, t) == _WORK:
        t.dried -= {fact.surface}  # told with what was spoiled


def line_spoken(site: Site, t: Truth, fact: LineSpoken, found: Found) -> None:
    if fact.about in t.dried and _least(site, t) > _WORK:
        _less_urgent(site, t, f"that {site.the(fact.about)} dried", found)


def held_said(site: Site, t: Truth, fact: HeldSaid, found: Found) -> None:
    t.dried -= {about.removeprefix("dried:") for about in fact.about}


def _rewet(site: Site, t: Truth, surface: str, found: Found) -> None:
    wet = t.wet.get(surface)
    if wet is not None and _least(site, t) > _WORK and not _owns(site, t, wet.step):
        _less_urgent(site, t, f"re-wetting {site.the(surface)}", found)


def _less_urgent(site: Site, t: Truth, what: str, found: Found) -> None:
    branch = max(t.branches, key=lambda b: _rank(site, b))
    found.append(("urgent_only", f"{what} comes before the end of {naming.mishap(site.plan, branch)}"))


def _rank(site: Site, branch: str) -> int:
    need = site.need.mishaps.get(branch)
    return _RANK[need.urgency] if need else _WORK


def _least(site: Site, t: Truth) -> int:
    """How urgent something must be to be asked for now."""
    return max((_rank(site, branch) for branch in t.branches), default=_WORK)


def _own_steps(site: Site, t: Truth) -> list[Step]:
    least = _least(site, t)
    urgent = (b for b in t.branches if _rank(site, b) == least)
    return [site.steps[s] for b in urgent for s, _ in site.need.mishaps[b].line if s in site.steps]


def _owns(site: Site, t: Truth, step_id: str) -> bool:
    return any(step.id == step_id for step in _own_steps(site, t))
