"""`assistant measure danger`: every mishap that endangers a person or the containment, at every step of every procedure.

Each is named, left alone for so long that whatever is wet dries, and then gone through to the end of its branch.
"""

from __future__ import annotations

import copy
import json
import re
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field, replace

import click

from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import load_procedure, procedure_names
from assistant.procedure.model import plan as p
from assistant.session import inputs
from assistant.session.facts import contacts, lines, session, steps, troubles
from assistant.session.facts.base import Fact
from assistant.session.lookup import is_hazard
from tests.session.walk import Walk

_TODAY = "2026-01-05"
_LEFT_ALONE_MS = 900_000  # longer than any agent stays wet
_MOST = 400
_CALLS = ("splash", "unwell", "fire")  # in these help is called for
_HELP = re.compile(r"\b(call|shout|alarm|help)\b", re.IGNORECASE)
_ASKING = (lines.INSTRUCTION, lines.QUESTION)


@dataclass
class Figures:
    """`help_called_within_lines`: word -> the most lines after the mishap's name until help is called for."""

    cases: int = 0
    first_line_own: int = 0
    lower_urgency_asked_before_end: int = 0
    help_called_within_lines: dict[str, int] = field(default_factory=dict)
    dried: int = 0
    dried_owed: int = 0
    faults: list[str] = field(default_factory=list)


def places(plan: p.Plan) -> Iterator[Walk]:
    """One walk standing at each step, under the answers all yes and all no."""
    seen: set[str] = set()
    for answer in (True, False):
        walk = Walk(plan, options=tuple((o.id, answer) for o in plan.options), watch=False)
        for _ in range(_MOST):
            if walk.state.verdict:
                break
            if walk.step and walk.step not in seen:
                seen.add(walk.step)
                yield walk
            walk.cooperate()


def measure(plan: p.Plan, found: Figures) -> None:
    """All cases of one procedure."""
    for at in places(plan):
        for mishap in plan.mishaps.values():
            if mishap.word and mishap.urgency != p.URGENCY_WORK:
                _case(plan, at, mishap, found)


def _case(plan: p.Plan, at: Walk, mishap: p.Mishap, found: Figures) -> None:
    walk = copy.copy(at)
    walk.facts, walk.log = [], []
    walk.give(inputs.Word(mishap.word))
    found.cases += 1
    name = f"{plan.procedure}, {at.step}, {mishap.word}"
    if _first_is_own(walk.facts, mishap):
        found.first_line_own += 1
    else:
        found.faults.append(f"{name}: the first words aren't its own")
    if walk.mode == "which":
        walk.cooperate(1_000)
    walk.after(_LEFT_ALONE_MS)
    for _ in range(_MOST):
        if walk.state.verdict or (not any(is_hazard(plan, f.branch) for f in walk.state.frames) and walk.mode != "which"):
            break
        walk.cooperate(1_000)
    if mishap.word in _CALLS:
        spoken = [f.text for f in walk.facts if isinstance(f, lines.LineSpoken)][1:]
        until = next((n for n, text in enumerate(spoken, 1) if _HELP.search(text)), len(spoken) + 1)
        found.help_called_within_lines[mishap.word] = max(until, found.help_called_within_lines.get(mishap.word, 0))
    end = next((n for n, f in enumerate(walk.facts) if isinstance(f, (troubles.BranchLeft, session.VerdictReached))
                and getattr(f, "mishap", mishap.id) == mishap.id), len(walk.facts))
    for what in _less_urgent(plan, walk.facts[:end]):
        found.lower_urgency_asked_before_end += 1
        found.faults.append(f"{name}: {what} is asked for before the end")
    _dried(name, walk, end, found)


def _first_is_own(facts: list[Fact], mishap: p.Mishap) -> bool:
    """Its first step, or what the core does so that it can begin; the question which power went; for a fire its lines."""
    for fact in facts:
        if isinstance(fact, troubles.WhichAsked):
            return fact.mishap == mishap.id
        if isinstance(fact, steps.StepStarted):
            bridged = fact.step.startswith("bridge:") and mishap.urgency != p.URGENCY_PERSON
            return fact.branch == mishap.id and (fact.step == mishap.steps[0].id or bridged)
        if isinstance(fact, session.VerdictReached):
            return mishap.then == "leave"
        if isinstance(fact, lines.LineSpoken) and fact.role in _ASKING and fact.about not in (s.id for s in mishap.steps):
            return False
    return False


def _less_urgent(plan: p.Plan, facts: list[Fact]) -> Iterator[str]:
    own = {s.id: s for m in plan.mishaps.values() if m.urgency != p.URGENCY_WORK for s in m.steps}
    surfaces = {s.surface for s in own.values() if s.id in {f.step for f in facts if isinstance(f, steps.StepConfirmed)}}
    cycles = {f"cycle:{s.cycle}" for s in own.values() if s.cycle}
    for fact in facts:
        if isinstance(fact, contacts.RewetAsked) and fact.surface not in surfaces:
            yield f"re-wetting {fact.surface}"
        elif isinstance(fact, steps.StepStarted) and not ((fact.step.startswith("bridge:") and fact.branch) or fact.step in own):
            yield fact.step
        elif isinstance(fact, lines.Announced) and set(fact.ends) - surfaces - cycles:
            yield f"the end of {fact.ends[0]}"
        elif isinstance(fact, (session.OptionAsked, troubles.QuestionsResumed)):
            yield fact.KIND


def _dried(name: str, walk: Walk, end: int, found: Figures) -> None:
    """What dried in the branch: owed, and said once by the end of it. After a stop the run is over and nothing is owed."""
    owed = {f.step for f in walk.facts if isinstance(f, steps.StepOwed)}
    told = [about for f in walk.facts if isinstance(f, troubles.HeldSaid) for about in f.about]
    own = {s.id for m in walk.plan.mishaps.values() for s in m.steps}
    wetted = {s.surface: s.id for s in walk.plan.steps if s.kind == p.WET}
    for fact in walk.facts[:end]:
        if not isinstance(fact, contacts.SurfaceDried) or fact.phase != "contact" or fact.surface not in wetted:
            continue
        if any(isinstance(f, contacts.ContactStarted) and f.step in own and f.surface == fact.surface for f in walk.facts[:end]):
            continue  # the branch wetted it itself
        found.dried += 1
        of = {s.id for s in walk.plan.steps if s.surface == fact.surface}
        if owed & of and told.count(f"dried:{fact.surface}") == 1:
            found.dried_owed += 1
        else:
            found.faults.append(f"{name}: {fact.surface} dried and isn't owed and said once")


@click.command()
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
@click.option("--procedure", "only", multiple=True, help="Only this one; repeat for several.")
def danger(as_json: bool, only: tuple[str, ...]) -> int:
    """A person or the containment in danger, at every step of every shipped procedure. Exit code 1 where one fails."""
    found = Figures()
    for name in only or procedure_names():
        measure(replace(compile_plan(load_procedure(name)), today=_TODAY), found)
    if as_json:
        click.echo(json.dumps({**asdict(found), "skipped": []}, ensure_ascii=False))
    else:
        click.echo(
            f"{found.cases} cases: in {found.first_line_own} the first words are the mishap's own; "
            f"{found.lower_urgency_asked_before_end} less urgent things asked before its end; "
            f"{found.dried_owed} of {found.dried} surfaces that dried meanwhile owed and said once."
        )
        for word, most in found.help_called_within_lines.items():
            click.echo(f"  {word.replace('_', ' ')}: help is called for within {most} lines")
        for fault in found.faults[:20]:
            click.echo(f"  {fault}")
    late = [n for n in found.help_called_within_lines.values() if n > 2]
    return 1 if found.faults or late else 0
