"""`assistant measure core`: how quickly a session's facts fold, what they weigh, and whether the state stays small.

The baseline, in the same run: as many bare events of a `transitions` machine with two states.
"""

from __future__ import annotations

import json
import pickle
import statistics
import time
from dataclasses import replace
from typing import Any

import click
from transitions import Machine

from assistant.language import vocabulary as w
from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import load_procedure
from assistant.procedure.model.plan import Plan
from assistant.session import decide, expects, fold, initial, inputs, next_deadline_ms
from assistant.session.facts.base import Fact
from assistant.session.lookup import step_of
from assistant.session.state import FINAL_MODES, State
from assistant.session.wire import to_wire
from assistant.station.account.json_out import print_json

_ROUNDS = 7  # the median of so many foldings
_ASKED = (w.WHERE, w.STILL_WET, w.HOW_LONG, w.REPEAT, w.WHY)


def generated_session(plan: Plan, least: int) -> list[Fact]:
    """A session of at least `least` facts: everything done as asked, with a question before each word and steps
    gone back over until it is long enough."""
    state, now, facts, turns = initial(plan), 0, [], 0

    def give(given: inputs.Input) -> None:
        nonlocal state
        new = decide(plan, state, given, now)
        state = fold(state, new)
        facts.extend(new)

    give(inputs.Begin("measure", options=tuple((o.id, True) for o in plan.options)))
    while state.mode not in FINAL_MODES and turns < 50_000:
        turns += 1
        if state.mode == "wait":
            now = max(now + 1, next_deadline_ms(plan, state) or now + 1_000)
            give(inputs.Tick())
            continue
        now += 2_000
        give(inputs.Word(_ASKED[turns % len(_ASKED)]))
        if turns % 2 and len(facts) < least * 0.9 and state.mode == "step" and len(state.confirmed) > 3:
            give(inputs.Word(w.GO_BACK))
            continue
        now += 3_000
        give(_answer(plan, state))
    return facts


def _answer(plan: Plan, state: State) -> inputs.Input:
    step = step_of(plan, state)
    if state.mode == "value":
        return inputs.Value({"lot": "AB12", "date": "2099-12-31"}.get(expects(plan, state), step.low or step.high or "1"))
    if state.mode == "witness":
        return inputs.Witness("second", "seen")
    return inputs.Word(w.REWETTED if state.mode == "rewet" else w.CONFIRM)


def _median_ms(run: Any) -> float:
    took = []
    for _ in range(_ROUNDS):
        begun = time.perf_counter()
        run()
        took.append((time.perf_counter() - begun) * 1000)
    return statistics.median(took)


def _bare_events(count: int) -> float:
    machine = Machine(model=None, states=["a", "b"], initial="a", auto_transitions=False, send_event=False)
    machine.add_transition("go", "a", "b")
    machine.add_transition("back", "b", "a")

    class Model:
        state = "a"

    def run() -> None:
        model, go, back = Model(), machine.events["go"], machine.events["back"]
        for _ in range(count // 2):
            go.trigger(model)
            back.trigger(model)

    return _median_ms(run)


def flat(plan: Plan, count: int) -> dict[str, int]:
    """The size of the state (bytes, pickled) after some and after `count` facts of a session that goes on for ever."""
    state, now = initial(plan), 0
    begin = inputs.Begin("measure", options=tuple((o.id, True) for o in plan.options))
    state = fold(state, decide(plan, state, begin, now))
    block: list[Fact] = []
    done, early = 0, 0
    while done < count:
        now += 3_000
        if not block:
            here = state
            one = decide(plan, here, inputs.Word(w.WHERE), now)
            here = fold(here, one)
            block = [*one]
            for word in (w.PAUSE, w.RESUME, w.BRIEF, w.FULL, w.TROUBLE, w.CANCEL):
                more = decide(plan, here, inputs.Word(word), now)
                here = fold(here, more)
                block += more
        for fact in block:
            state = fold(state, (replace(fact, at_ms=now),))
        done += len(block)
        if not early and done > count // 100:
            early = len(pickle.dumps(state))
    return {"flat_facts": done, "state_bytes_early": early, "state_bytes_late": len(pickle.dumps(state))}


@click.command()
@click.option("--facts", "least", default=2_000, show_default=True, help="At least so many facts.")
@click.option("--flat", "flat_count", default=1_000_000, show_default=True, help="Facts of the endless session; 0: none.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def core(least: int, flat_count: int, as_json: bool) -> None:
    """Fold a generated session."""
    plan = compile_plan(load_procedure("gb-2-light-clean"))
    facts = generated_session(plan, least)
    start = initial(plan)
    fold_ms = _median_ms(lambda: fold(start, facts)) * (2_000 / len(facts))
    bare_ms = _bare_events(2_000)
    size = sum(len(json.dumps(to_wire(f), ensure_ascii=False, separators=(",", ":")).encode()) for f in facts)
    found: dict[str, Any] = {
        "facts": len(facts), "fold_ms": round(fold_ms, 2), "facts_per_s": round(2_000_000 / fold_ms),
        "ratio_to_transitions": round(fold_ms / bare_ms, 2), "transitions_ms": round(bare_ms, 2),
        "bytes_per_fact": round(size / len(facts), 1), "rounds": _ROUNDS,
    }
    if flat_count:
        found |= flat(plan, flat_count)
    if as_json:
        print_json(found)
        return
    for name, value in found.items():
        click.echo(f"{name}: {value}")
