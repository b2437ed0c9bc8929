"""Completions, said: bundled when close, in a useful order, never over an instruction or a question's answer."""

from __future__ import annotations

from assistant.session.asking.wording import listed
from assistant.session.facts import lines
from assistant.session.lookup import name_of
from assistant.session.state import RUNNING
from assistant.session.turn import Turn

# Modes in which something was asked: what comes next to be heard is the answer.
_ASKING = frozenset(("option", "trouble", "which", "recover", "stopping", "read_back", "value_back"))


def announce(turn: Turn, *, queued: bool = False) -> None:
    """Say what is ready, if this is the moment. `queued`: between two steps it may follow a line that is sounding,
    so that it comes before the next instruction."""
    state = turn.state
    if not state.announce or state.mode in _ASKING or (state.open_lines and not queued):
        return
    until = state.announce_ms + turn.plan.bundle_ms  # from the first one's end: no chain of others delays it
    soon = any(c.complete_at_ms <= until and c.dries_at_ms > c.complete_at_ms for c in state.contacts.values())
    if soon or any(run.status == RUNNING and run.due_ms <= until for run in state.cycles.values()):
        return  # another one follows at once: one line for both
    say_ready(turn)


def say_ready(turn: Turn) -> None:
    """Announce every end that hasn't been said yet: surfaces in one line, then machines."""
    waiting = turn.state.announce
    surfaces = [name_of(turn.plan, s) for s in waiting if not s.startswith("cycle:")]
    cycles = [name_of(turn.plan, s) for s in waiting if s.startswith("cycle:")]
    turn.emit(lines.Announced(turn.now_ms, waiting))
    if surfaces:
        _say(turn, turn.words("ready", names=listed(turn.plan.language, surfaces)))
    for name in cycles:
        _say(turn, turn.words("cycle_over", name=name))


def _say(turn: Turn, text: str) -> None:
    turn.speak(lines.ANNOUNCEMENT, text[:1].upper() + text[1:])
