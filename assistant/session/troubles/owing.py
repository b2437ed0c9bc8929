"""Work that no longer counts: which steps are owed again when surfaces, doors or cycles are spoiled.

Nothing here is a fixed list. A step is owed because it worked on a spoiled surface; a wait because it waited
for one; a look because it needed one finished; a cycle because what it cleared was opened again.
"""

from __future__ import annotations

from collections.abc import Iterable

from assistant.procedure.model.plan import (
    ALL_CONTACTS,
    CHECK,
    CYCLE,
    INSTRUCT,
    READING,
    WAIT,
    WET,
    WITNESS,
    Plan,
    Step,
)
from assistant.session.asking.prompts import words
from assistant.session.facts import contacts, machine, steps, troubles
from assistant.session.lookup import branch_steps, name_of
from assistant.session.state import COMPLETE, RUNNING, State
from assistant.session.turn import Turn

_LOOKS = (CHECK, READING, WITNESS, INSTRUCT)  # what may rest on a finished surface


def lost_contacts(turn: Turn, surfaces: Iterable[str], reason: str) -> tuple[str, ...]:
    """Running contacts that no longer count, and no more than that: what the surface went through before, with
    another agent, stays done. Returns the owed step ids."""
    found = [turn.state.contacts[s] for s in surfaces if s in turn.state.contacts]
    return owe(turn, [c.surface for c in found], reason, frozenset(c.step for c in found))


def owe(turn: Turn, surfaces: Iterable[str], reason: str, only: frozenset[str] | None = None) -> tuple[str, ...]:
    """Void the contacts of `surfaces` and owe every done step that depended on them; of those that wet, `only`
    these where given. Returns the step ids."""
    wanted = list(dict.fromkeys(surfaces))
    for surface in wanted:
        if surface in turn.state.contacts:
            turn.emit(contacts.ContactVoided(turn.now_ms, surface, reason))
    owed = owed_steps(turn.plan, turn.state, frozenset(wanted), reason, only)
    for step_id, because in owed:
        turn.emit(steps.StepOwed(turn.now_ms, step_id, because))
    if owed:
        turn.emit(
            troubles.RedoPlanned(turn.now_ms, reason, tuple(s for s, _ in owed), tuple(b for _, b in owed))
        )
    return tuple(step_id for step_id, _ in owed)


def owed_steps(
    plan: Plan, state: State, surfaces: frozenset[str], reason: str, only: frozenset[str] | None = None
) -> list[tuple[str, str]]:
    """(step id, why in plain words) of each done step that depended on `surfaces`, in the order of the lines of
    work: the main one and every branch that is open."""
    found: list[tuple[str, str]] = []
    for frame in state.frames:
        spoiled_before: set[str] = set()  # surfaces whose work is owed by a step further up
        redone: set[str] = set()
        for step in branch_steps(plan, frame.branch):
            wets = step.kind == WET and step.surface in surfaces and (only is None or step.id in only)
            because = ""
            if wets or (only is None and step.kind in (INSTRUCT, CHECK) and step.surface in surfaces):
                because = f"{name_of(plan, step.surface)}: {reason}"
            elif step.kind == WAIT and spoiled_before and (
                ALL_CONTACTS in step.wait_for or spoiled_before & set(step.wait_for)
            ):
                because = words(plan, "because_wait")
            elif step.kind in _LOOKS and any(
                (c.kind == "contact" and c.subject in spoiled_before) or (c.kind == "step" and c.subject in redone)
                for c in step.requires
            ):
                because = words(plan, "because_wait")
            elif step.after_wiping and spoiled_before:
                because = words(plan, "because_waste")
            if wets:
                spoiled_before.add(step.surface)
            if because and step.id in frame.done:
                redone.add(step.id)
                found.append((step.id, because))
    return list(dict.fromkeys(found))


def owe_way_out(turn: Turn, wet: Step) -> None:
    """A wet step done late, as one that was skipped and that a later step needs: what takes used wipes out after it
    and is done already is owed again."""
    line = branch_steps(turn.plan, turn.state.top.branch)
    after = line[[step.id for step in line].index(wet.id) + 1 :] if wet in line else ()
    for step in after:
        if step.after_wiping and step.id in turn.state.top.done:
            turn.emit(steps.StepOwed(turn.now_ms, step.id, words(turn.plan, "because_waste")))


def break_cycle(turn: Turn, cycle: str, reason: str, *, used_up: bool = False) -> bool:
    """A running or finished cycle no longer counts. True if there was one.

    Broken while it ran, or by a mishap, its step and the waits for it are owed. A finished one that is `used_up`
    (what it cleared was opened, or nobody watched) isn't owed by itself: whatever still needs it asks for it
    again (see bridging).
    """
    run = turn.state.cycles.get(cycle)
    if run is None or run.status not in (RUNNING, COMPLETE):
        return False
    turn.emit(machine.CycleBroken(turn.now_ms, cycle, reason))
    if used_up and run.status == COMPLETE:
        return True
    for frame in turn.state.frames:
        for step in branch_steps(turn.plan, frame.branch):
            concerned = step.cycle == cycle if step.kind == CYCLE else step.kind == WAIT and cycle in step.wait_for
            if concerned and step.id in frame.done:
                turn.emit(steps.StepOwed(turn.now_ms, step.id, reason))
    return True
