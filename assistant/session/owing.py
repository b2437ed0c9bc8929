"""Work that no longer counts: which steps are owed again when surfaces, doors or cycles are spoiled.

Nothing here is a fixed list. A step is owed because it worked on a spoiled surface; a wait because it waited
for one; a cycle because what it cleared was opened again.
"""

from __future__ import annotations

from collections.abc import Iterable

from assistant.procedure.plan import ALL_CONTACTS, CHECK, CYCLE, INSTRUCT, WAIT, WET, Step
from assistant.session.facts import contacts, machine, steps, troubles
from assistant.session.lookup import name_of
from assistant.session.state import COMPLETE, RUNNING
from assistant.session.turn import Turn


def owe(turn: Turn, surfaces: Iterable[str], reason: str) -> tuple[str, ...]:
    """Void the contacts of `surfaces` and owe every done step that depended on them. Returns the step ids."""
    wanted = list(dict.fromkeys(surfaces))
    for surface in wanted:
        if surface in turn.state.contacts:
            turn.emit(contacts.ContactVoided(turn.now_ms, surface, reason))
    owed: list[tuple[str, str]] = []
    for step in turn.plan.steps:
        because = _because(turn, step, frozenset(wanted), reason)
        if because and step.id in turn.state.main.done:
            owed.append((step.id, because))
    for step_id, because in owed:
        turn.emit(steps.StepOwed(turn.now_ms, step_id, because))
    if owed:
        turn.emit(
            troubles.RedoPlanned(turn.now_ms, reason, tuple(s for s, _ in owed), tuple(b for _, b in owed))
        )
    return tuple(step_id for step_id, _ in owed)


def _because(turn: Turn, step: Step, surfaces: frozenset[str], reason: str) -> str:
    if step.kind in (WET, INSTRUCT, CHECK) and step.surface in surfaces:
        return f"{name_of(turn.plan, step.surface)}: {reason}"
    if step.kind == WAIT and (ALL_CONTACTS in step.wait_for or surfaces & set(step.wait_for)):
        first = min((i for i, s in enumerate(turn.plan.steps) if s.surface in surfaces), default=None)
        if first is not None and turn.plan.steps.index(step) > first:
            return turn.words("because_wait")
    return ""


def break_cycle(turn: Turn, cycle: str, reason: str, *, by_opening: bool = False) -> bool:
    """A running or finished cycle no longer counts. True if there was one.

    Broken by a mishap or unwatched, its step and the waits for it are owed. A finished one broken `by_opening`
    is used up by what it was made for: whatever still needs it asks for it again (see bridging).
    """
    run = turn.state.cycles.get(cycle)
    if run is None or run.status not in (RUNNING, COMPLETE):
        return False
    turn.emit(machine.CycleBroken(turn.now_ms, cycle, reason))
    if by_opening and run.status == COMPLETE:
        return True
    for step in turn.plan.steps:
        concerned = step.cycle == cycle if step.kind == CYCLE else step.kind == WAIT and cycle in step.wait_for
        if concerned and step.id in turn.state.main.done:
            turn.emit(steps.StepOwed(turn.now_ms, step.id, reason))
    return True


def move_opening(turn: Turn, opening: str, to: str) -> None:
    """An opening is open or closed now; opening one breaks the cycles that needed it shut."""
    turn.emit(machine.OpeningMoved(turn.now_ms, opening, to))
    if to != "open":
        return
    for cycle in turn.plan.cycles.values():
        if opening in cycle.broken_by_openings:
            break_cycle(turn, cycle.id, name_of(turn.plan, opening), by_opening=True)
    for group in turn.plan.interlocks:
        both = sorted(o for o in group if turn.state.openings.get(o) == "open")
        if opening in group and len(both) > 1:
            names = turn.words("and", head=name_of(turn.plan, both[0]), last=name_of(turn.plan, both[-1]))
            turn.deviate("two_open", opening, turn.words("two_open", names=names))
