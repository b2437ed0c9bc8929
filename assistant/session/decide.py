"""`decide(plan, state, input, now_ms) -> facts`: the one place where something follows from something.

First the clock: whatever fell due up to `now_ms` happens, in order. Then the input. Then the clock once more, for
what the input itself made due. After each the session settles: announcements that may be made, and the next thing
to do if nothing is open.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from assistant.procedure.model.plan import Plan
from assistant.session import inputs
from assistant.session.facts.base import Fact
from assistant.session.inputs import Input
from assistant.session.order.settle import settle
from assistant.session.order.starting import begin
from assistant.session.state import State
from assistant.session.timing import due
from assistant.session.troubles import devices, recovery
from assistant.session.turn import Turn
from assistant.session.words import confirming, practising, talk, values

_MOST = 1_000


def decide(plan: Plan, state: State, given: Input, now_ms: int) -> tuple[Fact, ...]:
    """The facts that follow. `now_ms` earlier than the state's own time counts as that time. Afterwards nothing
    that time brings is due any more.

    Raises TypeError for something that isn't an input.
    """
    handler = _HANDLERS.get(type(given))
    if handler is None:
        raise TypeError(f"not an input: {given!r}")
    turn = Turn(plan, state, max(now_ms, state.now_ms))
    # Nobody watched before a recovery: what fell due meanwhile may not complete. The recovery voids it first.
    if not isinstance(given, inputs.Recover):
        _advance(turn)
        turn.overtaken = turn.asked_anew
    if turn.state.mode != "idle" or isinstance(given, inputs.Begin):
        handler(turn, given)
        settle(turn)
        _advance(turn)
    return tuple(turn.facts)


def _advance(turn: Turn) -> None:
    """Everything due happens, and what follows from it, until nothing is due."""
    for _ in range(_MOST):
        if not due.pass_time(turn):
            return
        settle(turn)
    raise RuntimeError("thresholds never end")


def _tick(turn: Turn, given: inputs.Tick) -> None:
    """Time has already passed."""


_HANDLERS: dict[type[Input], Callable[[Turn, Any], None]] = {
    inputs.Begin: begin,
    inputs.Word: talk.word,
    inputs.Value: values.value,
    inputs.Misheard: talk.misheard,
    inputs.Tick: _tick,
    inputs.LineDone: devices.line_done,
    inputs.Witness: confirming.witness,
    inputs.SignIn: devices.sign_in,
    inputs.Lost: devices.lost,
    inputs.Back: devices.back,
    inputs.Recover: recovery.recover,
    inputs.ClockStep: devices.clock_step,
    inputs.Gap: devices.gap,
    inputs.Recalled: practising.recalled,
}
