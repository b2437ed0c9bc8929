"""A session with an engine fault, cut down to the few inputs that still show it, as a script that can be run.

Delta debugging: halves, then smaller parts, are left out for as long as the fault stays (A. Zeller and
R. Hildebrandt, Simplifying and Isolating Failure-Inducing Input, IEEE TSE 28(2), 2002: the ddmin algorithm).
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import fields, replace
from typing import Any

from assistant.practice.enclosure.simulated import EnclosureSim
from assistant.practice.oracle.judge import Oracle
from assistant.practice.oracle.ledger import ENGINE
from assistant.practice.simulate import Decide
from assistant.procedure.model.plan import Plan
from assistant.session import decide, evolve, initial, inputs, next_deadline_ms
from assistant.session.inputs import Input

Timed = tuple[int, Input]
_MOST_TICKS = 2000


class _AllTrue(EnclosureSim):
    """An enclosure in which every claim holds: what is still wrong is the core's own doing."""

    def true(self, action: Any, now_ms: int) -> bool:
        return True

    def is_wet(self, surface: str, now_ms: int) -> bool:
        return True

    def acted_ms(self, surface: str, agent: str, now_ms: int) -> int:
        return 10**9


def faults_of(plan: Plan, given: list[Timed], decide_with: Decide = decide) -> list[str]:
    """What the ledger alone finds wrong when these inputs are fed to the core, deadlines in between."""
    oracle = Oracle(plan, _AllTrue(plan), [], [], [])
    state = initial(plan)

    def feed(one: Input, at_ms: int) -> None:
        nonlocal state
        oracle.given(one)
        for fact in decide_with(plan, state, one, at_ms):
            state = evolve(state, fact)
            oracle.fact(fact)

    try:
        for at_ms, one in given:
            for _ in range(_MOST_TICKS):
                deadline = next_deadline_ms(plan, state)
                if deadline is None or deadline >= at_ms:
                    break
                feed(inputs.Tick(), deadline)
            feed(one, at_ms)
    except (ValueError, RuntimeError, KeyError, IndexError, TypeError, AttributeError) as error:
        oracle.failed(0, f"{type(error).__name__}: {error}")
    # `misplaced` needs the operator; without one only the ledger's own findings count
    return [f.what for f in oracle.findings if f.kind == ENGINE and "was believed" not in f.what]


def shrink(plan: Plan, given: list[Timed], decide_with: Decide = decide) -> list[Timed]:
    """The fewest inputs found that still show the first of its faults; all of them if the ledger alone sees none."""
    wanted = faults_of(plan, given, decide_with)
    if not wanted:
        return given

    def fails(part: list[Timed]) -> bool:
        return wanted[0] in faults_of(plan, part, decide_with)

    for simpler in (_silent, _without_noise):
        fewer = simpler(given)
        if len(fewer) < len(given) and fails(fewer):
            given = fewer
    return ddmin(given, fails)


def _silent(given: list[Timed]) -> list[Timed]:
    """The same without a voice: lines end at once, so that no input has to say so."""
    return [
        (at, replace(one, voice=False) if isinstance(one, inputs.Begin) else one)
        for at, one in given if not isinstance(one, inputs.LineDone)
    ]


def _without_noise(given: list[Timed]) -> list[Timed]:
    """The same without what was not understood."""
    return [(at, one) for at, one in given if not isinstance(one, inputs.Misheard | inputs.Tick)]


def ddmin(items: list[Timed], fails: Callable[[list[Timed]], bool]) -> list[Timed]:
    """The smallest list found by leaving parts out, each part as small as one item, for which `fails` holds."""
    parts = 2
    while len(items) >= 2:
        size = max(1, len(items) // parts)
        for at in range(0, len(items), size):
            rest = items[:at] + items[at + size:]
            if fails(rest):
                items, parts = rest, max(parts - 1, 2)
                break
        else:
            if size == 1:
                break
            parts = min(len(items), parts * 2)
    return items


_NAMES = {cls: name for name, cls in {
    "begin": inputs.Begin, "word": inputs.Word, "value": inputs.Value, "misheard": inputs.Misheard,
    "tick": inputs.Tick, "line_done": inputs.LineDone, "witness": inputs.Witness, "sign_in": inputs.SignIn,
    "lost": inputs.Lost, "back": inputs.Back, "recover": inputs.Recover, "clock_step": inputs.ClockStep,
    "gap": inputs.Gap,
}.items()}


def script_text(given: list[Timed]) -> str:
    """The inputs as JSON lines for `assistant run --script`."""
    lines = []
    for at_ms, one in given:
        data = {f.name: getattr(one, f.name) for f in fields(one) if getattr(one, f.name) != f.default}
        lines.append(json.dumps({"at_ms": at_ms, "input": _NAMES[type(one)], **data}))
    return "\n".join(lines) + "\n"
