"""A counterexample as a script for `assistant run --script`, and in plain words."""

from __future__ import annotations

import json
from dataclasses import fields

from assistant.procedure.model.plan import Plan
from assistant.prover import naming
from assistant.prover.moves import plain
from assistant.prover.requirements import Requirements
from assistant.prover.search import Path
from assistant.prover.watching.site import Site
from assistant.session import inputs
from assistant.session.decide import decide
from assistant.session.evolve import fold
from assistant.session.initial import initial
from assistant.session.order.bridges import is_bridge

_NAMES = {
    inputs.Begin: "begin", inputs.Word: "word", inputs.Value: "value", inputs.Tick: "tick", inputs.Witness: "witness",
    inputs.SignIn: "sign_in", inputs.Recover: "recover",
}


def script_lines(path: Path) -> list[str]:
    """One JSON object per input: {"at_ms": 1500, "input": "word", "word": "confirm"}."""
    lines = []
    for at_ms, given in path:
        line: dict[str, object] = {"at_ms": at_ms, "input": _NAMES[type(given)]}
        for f in fields(given):
            value = getattr(given, f.name)
            if value != f.default and not (f.name == "source" and value == "script"):
                line[f.name] = value
        lines.append(json.dumps(line, ensure_ascii=False))
    return lines


def in_words(plan: Plan, path: Path) -> list[str]:
    """Each input in plain words: the wait before it, what is done, and the step at hand as it was spoken."""
    state = initial(plan)
    lines: list[str] = []
    last_ms = 0
    for at_ms, given in path:
        waited = at_ms - last_ms
        last_ms = at_ms
        wait = f"wait {_long(waited)}, " if waited else ""
        at = f", at {naming.step(plan, state.current, located=False)}" if state.current else ""
        lines.append(f"{wait}{plain(given, plan)}{at}")
        try:
            state = fold(state, decide(plan, state, given, at_ms))
        except Exception:  # the counterexample may be that very breakdown; it is named beside it
            break
    return lines


def step_at_hand(plan: Plan, need: Requirements, path: Path) -> str:
    """The last step that was at hand on the way, as it is spoken and where its file has it. A step that the core puts
    in has no place of its own: then the file's step it is put before is named too."""
    state = initial(plan)
    at = ""
    done: frozenset[str] = frozenset()
    for at_ms, given in path:
        at, done = state.current or at, state.main.done
        try:
            state = fold(state, decide(plan, state, given, at_ms))
        except Exception:  # the counterexample may be that very breakdown
            break
    at = state.current or at
    site = Site(plan, need)
    if at and not is_bridge(at):
        return site.step_told(at)
    following = next((x.id for x in need.applies(dict(state.options)) if x.id not in done), "")
    before = f" before {site.step_told(following)}" if following else ""
    if not at:
        return site.step_told(following) if following else ""
    return f"{site.step_told(at)}, which the core puts in{before}"


def _long(ms: int) -> str:
    """A wait, to the millisecond where it matters: "2 min 1.5 s"."""
    minutes, rest = divmod(ms, 60_000)
    seconds = f"{rest / 1000:.3f}".rstrip("0").rstrip(".")
    return " ".join([f"{minutes} min"] * (minutes > 0) + [f"{seconds} s"] * (rest > 0))
