"""A tireless technician for tests: answers every line of the core as a correct run would, in the plan's own times."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal

from assistant.language import vocabulary as words
from assistant.procedure.model.plan import PATCH, WET, Plan
from assistant.session.decide import decide
from assistant.session.evolve import evolve
from assistant.session.initial import initial
from assistant.session.inputs import Begin, SignIn, Tick, Value, Witness, Word
from assistant.session.lookup import step_of
from assistant.session.order.bridges import SIGN_IN, is_bridge
from assistant.session.state import FINAL_MODES, State
from assistant.session.timing.timers import next_deadline_ms
from assistant.session.words.allowed import expects

_LIMIT = 3000


@dataclass
class Run:
    """What a run left behind: its last state, every fact, the bridges it needed, how often a re-wet was asked."""

    state: State
    facts: list = field(default_factory=list)
    bridges: list[str] = field(default_factory=list)
    rewets: int = 0
    said: list[str] = field(default_factory=list)


def run_plan(
    plan: Plan, options: dict[str, bool], delay_ms: int = 4_000, trouble: dict[str, str] | None = None
) -> Run:
    """Runs to a final mode. `trouble`: step id -> mishap word said once when that step is at hand."""
    run = Run(initial(plan))
    now = 0
    trouble = dict(trouble or {})

    def give(given) -> None:
        facts = decide(plan, run.state, given, now)
        for fact in facts:
            run.state = evolve(run.state, fact)
            text = getattr(fact, "text", "")
            if text:
                run.said.append(text)
        run.facts.extend(facts)

    give(Begin("tester", options=tuple(options.items())))
    for _ in range(_LIMIT):
        state = run.state
        if state.mode in FINAL_MODES:
            return run
        step = step_of(plan, state)
        # A wait for what already runs is the core's own wording of the author's wait, not a repair.
        if (
            step is not None
            and is_bridge(step.id)
            and not step.id.startswith("bridge:wait:")
            and step.id not in run.bridges
        ):
            run.bridges.append(step.id)
        if step is not None and step.id in trouble and state.mode in ("step", "value", "wait"):
            now += 500
            give(Word(trouble.pop(step.id)))
            continue
        if state.current == SIGN_IN and state.mode == "step":
            now += delay_ms
            give(SignIn("colleague"))
        elif state.mode == "wait":
            now = max(now, next_deadline_ms(plan, state) or now + 1000)
            give(Tick())
        elif state.mode == "rewet":
            run.rewets += 1
            now += delay_ms
            give(Word(words.REWETTED))
        elif state.mode == "value":
            now += max(delay_ms, step.expected_ms)
            kind = expects(plan, state)
            if kind == "number":
                low, high = Decimal(step.low or step.high or 1), Decimal(step.high or step.low or 1)
                give(Value(str((low + high) / 2)))
            else:
                give(Value("AB1234" if kind == "lot" else "2099-12-31"))
        elif state.mode == "witness":
            now += delay_ms
            give(Witness("second person", "seen"))
        elif state.mode == "which":
            now += delay_ms
            give(Value("1") if state.which else Word(words.ENCLOSURE))
        else:
            spent = delay_ms
            if state.mode == "step" and step is not None and step.expected_ms:
                spent = step.expected_ms + (
                    6_000 if step.kind == WET else 0
                )  # listening, then the wiping itself
            if step is not None and step.kind == PATCH and state.patch_since_ms >= 0:
                spent = step.wet_ms  # it dries exactly as the file says
            due = next_deadline_ms(plan, state)
            if due is not None and due < now + spent and due > now:
                now = due
                give(Tick())
                if run.state.mode != state.mode or run.state.current != state.current:
                    continue
                spent = max(0, state.since_ms + spent - now)
            now += spent
            give(Word(words.CONFIRM))
    raise AssertionError(f"no end after {_LIMIT} inputs; at {run.state.current} in mode {run.state.mode}")
