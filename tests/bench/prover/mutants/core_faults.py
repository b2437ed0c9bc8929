"""Faults in the core itself, put in for the length of a search: each replaces one function wherever it is used."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from assistant.session import lookup
from assistant.session.asking import announcing
from assistant.session.facts import contacts
from assistant.session.lookup import branch_steps
from assistant.session.order import bridging, choosing
from assistant.session.timing import timers
from assistant.session.troubles import mishaps, owing, stopping
from assistant.session.words import confirming, corrections, values

Fault = tuple[Any, Callable[..., Any]]  # the function, and what takes its place


def _shifted(rank: int, by_ms: int) -> Callable[..., Any]:
    real = timers.thresholds

    def thresholds(plan, state):
        found = [t._replace(at_ms=t.at_ms + by_ms) if t.rank == rank else t for t in real(plan, state)]
        return sorted(found)

    return thresholds


def _without(rank: int) -> Callable[..., Any]:
    real = timers.thresholds
    return lambda plan, state: [t for t in real(plan, state) if t.rank != rank]


def _always_met(kind: str) -> Callable[..., Any]:
    real = bridging.met
    return lambda state, cond: cond.kind == kind or real(state, cond)


def _voided_in_danger(real: Callable[..., Any]) -> Callable[..., Any]:
    def lost_contacts(turn, surfaces, reason):
        if not lookup.first_of_hazard(turn.plan, turn.state):
            return real(turn, surfaces, reason)
        for surface in surfaces:
            turn.emit(contacts.ContactVoided(turn.now_ms, surface, reason))
        return ()

    return lost_contacts


def _second(real: Callable[..., Any]) -> Callable[..., Any]:
    def wanted(plan, state):
        ids = [s.id for s in branch_steps(plan, state.top.branch)]
        begun = not state.top.branch or state.top.done or len(ids) < 2
        return real(plan, state) if begun else plan.step(ids[1])

    return wanted


def _nothing(*_: Any, **__: Any) -> tuple[()]:
    return ()


def _no_reach(real: Callable[..., Any]) -> Callable[..., Any]:
    return lambda plan, step: tuple(c for c in real(plan, step) if c.kind != "hands")


def _early_contact(real: Callable[..., Any]) -> Callable[..., Any]:
    def start(turn, step, stroke_ms, wet_since_ms):
        return real(turn, step, stroke_ms, stroke_ms)

    return start


FAULTS: dict[str, Callable[[], Fault]] = {
    "surfaces never dry": lambda: (timers.thresholds, _without(timers.DRIED)),
    "a contact is complete a second early": lambda: (timers.thresholds, _shifted(timers.COMPLETE, -1_000)),
    "a cycle is complete a second early": lambda: (timers.thresholds, _shifted(timers.CYCLE, -1_000)),
    "drying is seen a second late": lambda: (timers.thresholds, _shifted(timers.DRIED, 1_000)),
    "limits are never missed": lambda: (timers.thresholds, _without(timers.LIMIT_MISSED)),
    "contacts never complete": lambda: (timers.thresholds, _without(timers.COMPLETE)),
    "cycles never complete": lambda: (timers.thresholds, _without(timers.CYCLE)),
    "contact counts from the first stroke": lambda: (
        confirming._start_contact, _early_contact(confirming._start_contact)),
    "nothing is owed again": lambda: (owing.owe, _nothing),
    "no cycle is ever broken": lambda: (owing.break_cycle, lambda *a, **k: False),
    "doors always count as they should be": lambda: (bridging.met, _always_met("opening")),
    "cycles always count as complete": lambda: (bridging.met, _always_met("cycle")),
    "hands are always where they are needed": lambda: (bridging.met, _always_met("hands")),
    "reach is never asked for": lambda: (bridging.conditions, _no_reach(bridging.conditions)),
    "a mishap spoils nothing": lambda: (mishaps.spoiled_by, _nothing),
    "a correction changes nothing but words": lambda: (corrections._undo, lambda *a, **k: None),
    "every value is inside its limits": lambda: (values.limit_problem, lambda *a, **k: ""),
    "the interrupted work is asked about in danger": lambda: (lookup.interrupted, lambda *a: False),
    "what the interrupted work finished is announced in danger": lambda: (
        announcing._sayable, lambda turn: turn.state.announce),
    "a branch begins with its second step": lambda: (choosing._wanted, _second(choosing._wanted)),
    "a less urgent mishap comes before the person": lambda: (mishaps.put_off, lambda *a: False),
    "what dried in danger is never said": lambda: (mishaps.say_held, _nothing),
    "what dried in danger isn't owed": lambda: (owing.lost_contacts, _voided_in_danger(owing.lost_contacts)),
    "nothing is ever left open": lambda: (stopping.left_open, _nothing),
}


# What a fault takes to show beyond a run with one mishap: a second mishap, or somebody who takes their time after it.
TAKES: dict[str, dict[str, Any]] = {
    "a less urgent mishap comes before the person": {"depth": 2},
    "what dried in danger is never said": {"moments_after": True},
    "what dried in danger isn't owed": {"moments_after": True},
}


@contextmanager
def seeded(name: str) -> Iterator[None]:
    """The core with one fault in it, everywhere its function is used. It is whole again afterwards."""
    real, fault = FAULTS[name]()
    changed = []
    for module in [m for n, m in sys.modules.items() if n.startswith("assistant.session")]:
        for attribute, value in list(vars(module).items()):
            if value is real:
                setattr(module, attribute, fault)
                changed.append((module, attribute))
    try:
        yield
    finally:
        for module, attribute in changed:
            setattr(module, attribute, real)
