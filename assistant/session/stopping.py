"""The ends of a session: a safe stop, and the verdicts."""

from __future__ import annotations

from assistant.procedure.plan import WET
from assistant.session.facts import lines, session
from assistant.session.lookup import holds, name_of
from assistant.session.state import RUNNING
from assistant.session.turn import Turn
from assistant.session.wording import listed


def begin_stop(turn: Turn) -> None:
    """Say what must be closed, shut off or left running, and wait until it is safe."""
    if turn.state.mode == "stopping":
        return
    plan, state = turn.plan, turn.state
    to_do = [turn.words("stop_close", name=name_of(plan, o)) for o, at in state.openings.items() if at == "open"]
    to_do += [
        turn.words("stop_running", name=name_of(plan, run.cycle))
        for run in state.cycles.values()
        if run.status == RUNNING
    ]
    if state.contacts:
        names = listed(plan.language, [name_of(plan, s) for s in state.contacts])
        to_do.append(turn.words("stop_wet", names=names))
    to_do += plan.stop_says
    turn.emit(session.StopBegun(turn.now_ms, tuple(to_do)))
    turn.speak(lines.INSTRUCTION, " ".join([turn.words("stop"), *to_do, turn.words("stop_confirm")]))


def end(turn: Turn, verdict: str) -> None:
    """Close the session. A run is complete only if nothing is left open."""
    left = left_open(turn)
    if verdict == "complete" and left:
        verdict = "incomplete"
    turn.emit(session.VerdictReached(turn.now_ms, verdict, left))
    turn.speak(lines.NOTICE, turn.words(verdict))


def left_open(turn: Turn) -> tuple[str, ...]:
    """What isn't done, by id: steps owed or skipped, contacts and cycles running, openings not as they end."""
    plan, state = turn.plan, turn.state
    found = [f"step:{s.id}" for s in plan.steps if holds(state, s) and s.id not in state.main.done]
    found += [f"contact:{surface}" for surface in state.contacts]
    found += [f"cycle:{run.cycle}" for run in state.cycles.values() if run.status == RUNNING]
    found += [f"opening:{o.id}" for o in plan.openings.values() if state.openings.get(o.id) != o.at_end]
    spoiled = {s.surface for s in plan.steps if s.kind == WET and holds(state, s)}
    found += [f"surface:{s}" for s in spoiled if state.surfaces.get(s) == "spoiled"]
    return tuple(sorted(found))
