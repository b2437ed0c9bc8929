"""A wait whose surface dried is not kept: the surface is owed first, then the wait (a judgement of ours, stated in
the plan's contract; no published source)."""

from __future__ import annotations

from assistant.session import decide, evolve, initial, inputs, next_deadline_ms
from assistant.session.facts import contacts, steps
from tests.session.small_plan import small_plan


def test_a_wait_is_left_and_not_ended_when_its_only_surface_dries() -> None:
    plan, now, facts = small_plan(), 0, []
    state = initial(plan)

    def give(given: inputs.Input, at: int) -> None:
        nonlocal state, now
        now = at
        for fact in decide(plan, state, given, at):
            state = evolve(state, fact)
            facts.append(fact)

    give(inputs.Begin("Ada"), 0)
    while state.current != "wait":
        deadline = next_deadline_ms(plan, state)
        if state.mode == "wait":
            give(inputs.Tick(), deadline)
        elif state.current == "wet-left" and state.mode == "step":
            give(inputs.Word("skip"), now + 1_000)
        else:
            give(inputs.Word("confirm"), now + 2_000)
    while not any(isinstance(f, contacts.SurfaceDried) for f in facts):
        give(inputs.Tick(), next_deadline_ms(plan, state))
    assert not any(isinstance(f, steps.WaitEnded) and f.step == "wait" for f in facts)
    assert state.current == "wet-back"
    give(inputs.Word("confirm"), now + 5_000)
    assert state.current == "wait" and state.mode == "wait"
