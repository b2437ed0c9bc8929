"""The enclosure: cycles, openings, hands, machine states, limits."""

from __future__ import annotations

from dataclasses import replace

from assistant.session.changes.base import on, with_key, without
from assistant.session.changes.contacts import ends
from assistant.session.facts import machine
from assistant.session.state import BROKEN, COMPLETE, RUNNING, CycleRun, State, changed

_MOST_MOVES = 16


@on(machine.CycleStarted)
def cycle_started(state: State, fact: machine.CycleStarted) -> State:
    run = CycleRun(fact.cycle, fact.started_ms, fact.due_ms, RUNNING)
    return changed(state, cycles=with_key(state.cycles, fact.cycle, run))


@on(machine.CycleCompleted)
def cycle_completed(state: State, fact: machine.CycleCompleted) -> State:
    run = replace(state.cycles[fact.cycle], status=COMPLETE)
    waiting = ends(state, f"cycle:{fact.cycle}", fact.due_ms)
    return changed(state, cycles=with_key(state.cycles, fact.cycle, run), **waiting)


@on(machine.CycleBroken)
def cycle_broken(state: State, fact: machine.CycleBroken) -> State:
    run = replace(state.cycles[fact.cycle], status=BROKEN)
    gone = f"cycle:{fact.cycle}"
    return changed(
        state, cycles=with_key(state.cycles, fact.cycle, run),
        announce=tuple(a for a in state.announce if a != gone),
    )


@on(machine.OpeningMoved)
def opening(state: State, fact: machine.OpeningMoved) -> State:
    limit, name = f"opening:{fact.opening}", fact.opening
    opened, before = state.opened_ms, state.opened_before_ms
    if fact.to == "open":
        opened = with_key(opened, name, fact.since_ms if fact.since_ms >= 0 else fact.at_ms)
    else:
        if name in opened:
            before = with_key(before, name, opened[name])
        opened = without(opened, name)
    return changed(
        state, openings=with_key(state.openings, name, fact.to), opened_ms=opened, opened_before_ms=before,
        warned=state.warned - {limit}, missed=state.missed - {limit},
    )


@on(machine.HandsMoved)
def hands(state: State, fact: machine.HandsMoved) -> State:
    if fact.taken_back:
        return changed(state, hands=fact.to, hands_before=state.hands_before[:-1])
    return changed(state, hands=fact.to, hands_before=(*state.hands_before, state.hands)[-_MOST_MOVES:])


@on(machine.MachineSet)
def machine_set(state: State, fact: machine.MachineSet) -> State:
    return changed(state, machines=with_key(state.machines, fact.machine, fact.value))


@on(machine.LimitWarned)
def warned(state: State, fact: machine.LimitWarned) -> State:
    return changed(state, warned=state.warned | {fact.limit})


@on(machine.LimitMissed)
def missed(state: State, fact: machine.LimitMissed) -> State:
    return changed(state, missed=state.missed | {fact.limit})
