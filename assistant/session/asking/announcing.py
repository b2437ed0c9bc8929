"""Completions, said: bundled when close, in a useful order, never over an instruction or a question's answer."""

from __future__ import annotations

from assistant.language.sentences import listed
from assistant.session.facts import lines
from assistant.session.lookup import branch_steps, first_of_hazard, name_of
from assistant.session.state import RUNNING
from assistant.session.turn import Turn

# Modes in which something was asked: what comes next to be heard is the answer.
_ASKING = frozenset(("option", "trouble", "which", "recover", "stopping", "read_back", "value_back"))


def announce(turn: Turn, *, queued: bool = False) -> None:
    """Say what is ready, if this is the moment. `queued`: between two steps it may follow a line that is sounding,
    so that it comes before the next instruction."""
    state = turn.state
    if not _sayable(turn) or state.mode in _ASKING or (state.open_lines and not queued):
        return
    until = state.announce_ms + turn.plan.bundle_ms  # from the first one's end: no chain of others delays it
    soon = any(c.complete_at_ms <= until and c.dries_at_ms > c.complete_at_ms for c in state.contacts.values())
    if soon or any(run.status == RUNNING and run.due_ms <= until for run in state.cycles.values()):
        return  # another one follows at once: one line for both
    say_ready(turn)


def say_ready(turn: Turn) -> None:
    """Announce every end that hasn't been said yet: surfaces in one line, then machines."""
    waiting = _sayable(turn)
    if not waiting:
        return
    surfaces = [name_of(turn.plan, s) for s in waiting if not s.startswith("cycle:")]
    cycles = [name_of(turn.plan, s) for s in waiting if s.startswith("cycle:")]
    turn.emit(lines.Announced(turn.now_ms, waiting))
    if surfaces:
        _say(turn, turn.words("ready", names=listed(turn.plan.language, surfaces)))
    for name in cycles:
        _say(turn, turn.words("cycle_over", name=name))


def _sayable(turn: Turn) -> tuple[str, ...]:
    """The ends that may be said now: while a person, or what must stay inside, is seen to, only those of its branch."""
    state, first = turn.state, first_of_hazard(turn.plan, turn.state)
    if not first:
        return state.announce
    own = {
        thing for frame in state.frames[first:] for step in branch_steps(turn.plan, frame.branch)
        for thing in (step.surface, f"cycle:{step.cycle}")
    }
    return tuple(end for end in state.announce if end in own)


def _say(turn: Turn, text: str) -> None:
    turn.speak(lines.ANNOUNCEMENT, text[:1].upper() + text[1:])
