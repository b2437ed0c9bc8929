"""Wipes of work that is done again must leave the enclosure again (common practice, no source)."""

from __future__ import annotations

from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import load_procedure
from assistant.session import decide, evolve, initial, inputs, next_deadline_ms
from assistant.session.facts import session, steps

ANSWERS = (("drugs_differ", False), ("final_alcohol", False))


def _run(spill_at: str):
    plan, now, facts = compile_plan(load_procedure("gb-2-light-clean")), 0, []
    state, spilled = initial(plan), False

    def give(given, at):
        nonlocal state, now
        now = at
        for fact in decide(plan, state, given, at):
            state = evolve(state, fact)
            facts.append(fact)

    give(inputs.Begin("Ada", options=ANSWERS), 0)
    for _ in range(600):
        if state.verdict:
            break
        if state.current == spill_at and not spilled:
            spilled = True
            give(inputs.Word("spill"), now + 500)
        elif state.mode == "wait":
            give(inputs.Tick(), next_deadline_ms(plan, state))
        elif state.mode == "value":
            kind = plan.step(state.current).value_kind
            give(inputs.Value({"number": "-50", "lot": "B417", "date": "2030-01-31"}[kind]), now + 800)
        else:
            give(inputs.Word("rewetted" if state.mode == "rewet" else "confirm"), now + 6_000)
    return plan, facts, state


def test_after_a_spill_when_the_bag_has_left_the_new_wipes_leave_too() -> None:
    plan, facts, state = _run("pressure_after")
    assert any(step.after_wiping for step in plan.steps)
    assert state.verdict == "complete", state
    wet = [i for i, f in enumerate(facts) if isinstance(f, steps.StepConfirmed) and plan_kind(plan, f.step) == "wet"]
    out = [i for i, f in enumerate(facts) if isinstance(f, steps.StepConfirmed) and f.step in _waste(plan)]
    assert out[-1] > wet[-1]
    assert isinstance(facts[-2], session.VerdictReached) or isinstance(facts[-1], session.VerdictReached)


def plan_kind(plan, step_id: str) -> str:
    return "" if step_id.startswith("bridge:") else plan.step(step_id).kind


def _waste(plan) -> set[str]:
    return {s.id for s in plan.steps if s.after_wiping}
