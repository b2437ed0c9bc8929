"""The ends of a session: a safe stop, and the verdicts."""

from __future__ import annotations

from assistant.procedure.model.plan import WET, Plan
from assistant.session.asking import prompts
from assistant.session.asking.announcing import say_ready
from assistant.session.facts import lines, session
from assistant.session.lookup import holds
from assistant.session.state import CLEAN, RUNNING, State
from assistant.session.turn import Turn


def begin_stop(turn: Turn) -> None:
    """Say what must be closed, shut off or left running, and wait until it is safe."""
    if turn.state.mode == "stopping":
        return
    turn.emit(session.StopBegun(turn.now_ms, tuple(prompts.stop_to_do(turn.plan, turn.state))))
    turn.ask(lines.INSTRUCTION)


def stop_now(turn: Turn) -> None:
    """A stop that nobody is asked about: the same list is said, and the session is over."""
    to_do = tuple(prompts.stop_to_do(turn.plan, turn.state))
    turn.emit(session.StopBegun(turn.now_ms, to_do))
    turn.speak(lines.INSTRUCTION, " ".join([turn.words("stop"), *to_do]))
    end(turn, "stopped")


def end(turn: Turn, verdict: str) -> None:
    """Close the session. A run is complete only if nothing is left open."""
    left = left_open(turn.plan, turn.state)
    if verdict == "complete" and left:
        verdict = "incomplete"
    if turn.state.announce and verdict != "left":
        say_ready(turn)
    turn.emit(session.VerdictReached(turn.now_ms, verdict, left))
    turn.speak(lines.NOTICE, turn.words(verdict))


def left_open(plan: Plan, state: State) -> tuple[str, ...]:
    """What isn't done, by id: steps owed or left out, contacts and cycles running, surfaces that aren't clean,
    openings, machines and hands not as they end."""
    wanted = [s for s in plan.steps if holds(state, s)]
    found = {f"step:{s.id}" for s in wanted if s.id not in state.main.done}
    found |= {f"step:{s}" for frame in state.frames for s in frame.skipped}
    found |= {f"contact:{surface}" for surface in state.contacts}
    found |= {f"cycle:{run.cycle}" for run in state.cycles.values() if run.status == RUNNING}
    found |= {f"opening:{o.id}" for o in plan.openings.values() if o.at_end and state.openings.get(o.id) != o.at_end}
    found |= {f"machine:{m}" for m, value in plan.end_machines.items() if state.machines.get(m) != value}
    found |= {f"surface:{s.surface}" for s in wanted if s.kind == WET and state.surfaces.get(s.surface) != CLEAN}
    if state.hands != plan.end_hands:
        found.add("hands:")
    return tuple(sorted(found))
