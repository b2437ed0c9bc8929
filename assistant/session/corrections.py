""""I got that wrong" and "go back": the last confirmation is taken back, with what hung on it."""

from __future__ import annotations

from assistant.procedure import plan as p
from assistant.session.bridges import bridge_step, is_bridge
from assistant.session.facts import lines, machine, steps, troubles
from assistant.session.lookup import name_of
from assistant.session.owing import break_cycle, move_opening, owe
from assistant.session.turn import Turn
from assistant.session.wording import listed


def take_back(turn: Turn, how: str) -> None:
    """`how`: correction (it wasn't true) or go_back (it is done again). Either way it no longer counts."""
    if not turn.state.confirmed:
        turn.speak(lines.REFUSAL, turn.words("not_now_done"))
        return
    last = turn.state.confirmed[-1]
    reason = turn.words("because_correction" if how == "correction" else "because_again")
    plan = turn.plan
    if last.startswith("rewet:"):
        surface = last.removeprefix("rewet:")
        turn.emit(steps.CorrectionMade(turn.now_ms, last, how, (surface,)))
        _say(turn, how, turn.words("rewet", name=name_of(plan, surface)), [name_of(plan, surface)])
        owe(turn, [surface], reason)
        return
    step = bridge_step(plan, last) if is_bridge(last) else plan.step(last)
    fallen = _fallen(turn, step)
    turn.emit(steps.CorrectionMade(turn.now_ms, last, how, tuple(fallen)))
    _say(turn, how, step.say, [name_of(plan, name) for name in fallen])
    _undo(turn, step, reason)
    if not is_bridge(last) and any(last in frame.done for frame in turn.state.frames):
        turn.emit(steps.StepOwed(turn.now_ms, last, reason))


def _say(turn: Turn, how: str, what: str, fallen: list[str]) -> None:
    text = turn.words("correction" if how == "correction" else "go_back", step=what)
    if fallen:
        text += " " + turn.words("correction_also", names=listed(turn.plan.language, fallen))
    turn.speak(lines.ANSWER, text)


def _fallen(turn: Turn, step: p.Step) -> list[str]:
    """What hangs on this confirmation, by id."""
    state = turn.state
    if step.kind == p.WET and (step.surface in state.contacts or state.surfaces.get(step.surface) == "clean"):
        return [step.surface]
    if step.kind == p.CYCLE and step.cycle in state.cycles:
        return [step.cycle]
    if step.kind == p.CLOSE:
        return [
            c.id for c in turn.plan.cycles.values()
            if step.opening in c.broken_by_openings and c.id in state.cycles and state.cycles[c.id].status != "broken"
        ]
    return []


def _undo(turn: Turn, step: p.Step, reason: str) -> None:
    state = turn.state
    if step.kind == p.WET:
        if state.surfaces.get(step.surface) == "clean":
            turn.emit(troubles.SurfaceSpoiled(turn.now_ms, step.surface, reason))
        owe(turn, [step.surface], reason)
    elif step.kind == p.OPEN:
        move_opening(turn, step.opening, "closed")
    elif step.kind == p.CLOSE:
        move_opening(turn, step.opening, "open")
    elif step.kind == p.CYCLE:
        break_cycle(turn, step.cycle, reason)
    elif step.kind == p.MOVE:
        turn.emit(machine.HandsMoved(turn.now_ms, _before(turn, step)))
    elif step.kind == p.MACHINE:
        value = _machine_before(turn, step)
        if value is not None:
            turn.emit(machine.MachineSet(turn.now_ms, step.machine, value))


def _earlier(turn: Turn, kind: str) -> list[p.Step]:
    """Confirmed steps of a kind, newest first, without the one being taken back (it is gone already)."""
    found = []
    for step_id in reversed(turn.state.confirmed):
        if step_id.startswith("rewet:"):
            continue
        step = bridge_step(turn.plan, step_id) if is_bridge(step_id) else turn.plan.step(step_id)
        if step.kind == kind:
            found.append(step)
    return found


def _before(turn: Turn, step: p.Step) -> str:
    moves = _earlier(turn, p.MOVE)
    return moves[0].hands if moves else turn.plan.start_hands


def _machine_before(turn: Turn, step: p.Step) -> str | None:
    same = [s for s in _earlier(turn, p.MACHINE) if s.machine == step.machine]
    return same[0].machine_value if same else turn.plan.start_machines.get(step.machine)
