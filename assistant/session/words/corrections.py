""""I got that wrong" and "go back": the last confirmation is taken back, with what hung on it."""

from __future__ import annotations

from assistant.language.sentences import listed
from assistant.procedure.model import plan as p
from assistant.session.facts import contacts, lines, machine, session, steps, troubles
from assistant.session.lookup import came_from, name_of
from assistant.session.order import starting
from assistant.session.order.bridges import SIGN_IN, bridge_step, is_bridge
from assistant.session.order.openings import move_opening
from assistant.session.state import BROKEN, CLEAN
from assistant.session.troubles import mishaps
from assistant.session.troubles.owing import break_cycle, lost_contacts, owe
from assistant.session.turn import Turn


def take_back(turn: Turn, how: str, which: str = "") -> None:
    """`how`: correction (it wasn't true) or go_back (it is done again). Either way it no longer counts. `which`:
    an entry of `confirmed`; without one, the last."""
    state, plan = turn.state, turn.plan
    if not state.confirmed and state.options and not state.top.branch:
        starting.take_answer_back(turn, list(state.options)[-1])
        return
    if not state.confirmed:
        turn.emit(lines.NotNow(turn.now_ms, how, state.mode))
        turn.speak(lines.REFUSAL, turn.words("not_now_done"))
        return
    last = which or state.confirmed[-1]
    reason = turn.words("because_correction" if how == "correction" else "because_again")
    kind, _, subject = last.partition(":")
    if kind == "rewet":
        _rewet(turn, subject, how, reason)
    elif kind == "skip":
        turn.emit(steps.CorrectionMade(turn.now_ms, last, how))
        _say(turn, how, plan.step(subject).say, [])
        _again(turn, subject, reason)
    else:
        step = bridge_step(plan, last, came_from(plan, state, last)) if is_bridge(last) else plan.step(last)
        fallen = _fallen(turn, step)
        turn.emit(steps.CorrectionMade(turn.now_ms, last, how, tuple(fallen)))
        _say(turn, how, step.say, [name_of(plan, name) for name in fallen])
        _undo(turn, step, reason)
        _again(turn, last, reason)


def _rewet(turn: Turn, surface: str, how: str, reason: str) -> None:
    """It wasn't wet all over again: then nothing says that it stayed wet."""
    step = turn.state.contacts[surface].step if surface in turn.state.contacts else ""
    turn.emit(steps.CorrectionMade(turn.now_ms, f"rewet:{surface}", how, (surface,)))
    name = name_of(turn.plan, surface)
    _say(turn, how, turn.words("rewet_what", name=name), [name])
    if step:
        lost_contacts(turn, [surface], reason)
    elif turn.state.surfaces.get(surface) == CLEAN:
        turn.emit(troubles.SurfaceSpoiled(turn.now_ms, surface, reason))
        newest = [s.id for s in turn.plan.steps if s.surface == surface and s.id in turn.state.main.done]
        owe(turn, [surface], reason, frozenset(newest[-1:]))


def _again(turn: Turn, step_id: str, reason: str) -> None:
    """The step is owed. If it belongs to a mishap whose steps were over, they are open again for it alone."""
    frames = turn.state.frames
    if any(step_id in frame.done or step_id in frame.skipped for frame in frames):
        turn.emit(steps.StepOwed(turn.now_ms, step_id, reason))
        return
    for mishap in turn.plan.mishaps.values():
        ids = [s.id for s in mishap.steps]
        if step_id in ids and all(frame.branch != mishap.id for frame in frames):
            if mishaps.put_off(turn, mishap, turn.now_ms):
                return
            turn.emit(
                troubles.BranchEntered(
                    turn.now_ms, mishap.id, done=tuple(i for i in ids if i != step_id)
                )
            )


def _say(turn: Turn, how: str, what: str, fallen: list[str]) -> None:
    text = turn.words("correction" if how == "correction" else "go_back", step=what)
    if fallen:
        text += " " + turn.words("correction_also", names=listed(turn.plan.language, fallen))
    turn.speak(lines.ANSWER, text)


def _fallen(turn: Turn, step: p.Step) -> list[str]:
    """What hangs on this confirmation, by id."""
    state = turn.state
    if step.kind == p.WET and (step.surface in state.contacts or state.surfaces.get(step.surface) == CLEAN):
        return [step.surface]
    if step.kind == p.CYCLE and step.cycle in state.cycles and state.cycles[step.cycle].status != BROKEN:
        return [step.cycle]
    if step.kind == p.CLOSE:
        return [
            c.id for c in turn.plan.cycles.values()
            if step.opening in c.broken_by_openings and c.id in state.cycles and state.cycles[c.id].status != BROKEN
        ]
    return []


def _undo(turn: Turn, step: p.Step, reason: str) -> None:
    state = turn.state
    if step.kind == p.WET:
        if state.surfaces.get(step.surface) == CLEAN:
            turn.emit(troubles.SurfaceSpoiled(turn.now_ms, step.surface, reason))
        owe(turn, [step.surface], reason, frozenset((step.id,)))
    elif step.kind == p.OPEN:
        move_opening(turn, step.opening, "closed")
    elif step.kind == p.CLOSE:
        # It was never shut: it has been open since it was opened.
        since = state.opened_before_ms.get(step.opening, -1)
        move_opening(turn, step.opening, "open", since, taken_back=True)
    elif step.kind == p.CYCLE:
        break_cycle(turn, step.cycle, reason)
    elif step.kind == p.MOVE:
        before = state.hands_before[-1] if state.hands_before else turn.plan.start_hands
        turn.emit(machine.HandsMoved(turn.now_ms, before, True))
    elif step.kind == p.MACHINE:
        value = _machine_before(turn, step)
        if value is not None:
            turn.emit(machine.MachineSet(turn.now_ms, step.machine, value))
    elif step.kind == p.PATCH:
        orientation = turn.plan.surfaces[step.surface].orientation if step.surface else ""
        turn.emit(contacts.PatchVoided(turn.now_ms, step.id, orientation, step.agent))
    elif step.id == SIGN_IN:
        turn.emit(session.PersonChanged(turn.now_ms, state.top.person, state.person))


def _machine_before(turn: Turn, step: p.Step) -> str | None:
    """What the machine was set to before: by the confirmation before this one, or at the start."""
    for step_id in reversed(turn.state.confirmed):
        if step_id.startswith(("rewet:", "skip:")):
            continue
        earlier = bridge_step(turn.plan, step_id) if is_bridge(step_id) else turn.plan.step(step_id)
        if earlier.kind == p.MACHINE and earlier.machine == step.machine:
            return earlier.machine_value
    return turn.plan.start_machines.get(step.machine)

