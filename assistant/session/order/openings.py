"""An opening is open or shut now, and what follows from it: cycles broken, two interlocked ones open."""

from __future__ import annotations

from assistant.session.facts import machine
from assistant.session.lookup import name_of
from assistant.session.state import RUNNING
from assistant.session.troubles.owing import break_cycle
from assistant.session.turn import Turn


def move_opening(turn: Turn, opening: str, to: str, since_ms: int = -1, *, taken_back: bool = False) -> None:
    """An opening is open or closed now; opening one breaks the cycles that needed it shut. `taken_back`: known
    from a correction, which says itself what falls."""
    already = turn.state.opened_ms.get(opening, -1) if turn.state.openings.get(opening) == "open" else -1
    if to == "open" and already >= 0:
        since_ms = already  # opened twice, its closing left out: its time limit runs from the first
    turn.emit(machine.OpeningMoved(turn.now_ms, opening, to, since_ms))
    if to != "open":
        return
    for cycle in turn.plan.cycles.values():
        run = turn.state.cycles.get(cycle.id)
        if opening not in cycle.broken_by_openings or run is None:
            continue
        running = run.status == RUNNING
        if break_cycle(turn, cycle.id, name_of(turn.plan, opening), used_up=True) and running and not taken_back:
            turn.deviate("cycle_broken", cycle.id, turn.words("cycle_broken", name=cycle.name))
    for group in turn.plan.interlocks:
        both = sorted(o for o in group if turn.state.openings.get(o) == "open")
        if opening in group and len(both) > 1:
            names = turn.words("and", head=name_of(turn.plan, both[0]), last=name_of(turn.plan, both[-1]))
            turn.deviate("two_open", opening, turn.words("two_open", names=names))
