"""Steps: begun, claimed, confirmed, taken back, owed again."""

from __future__ import annotations

from dataclasses import replace

from assistant.session.changes.base import (
    UNSPELT,
    leave_step,
    on,
    push,
    remember,
    unask_rewets,
    with_key,
    with_top,
    without,
)
from assistant.session.facts import steps
from assistant.session.facts.base import Fact
from assistant.session.modes import moved
from assistant.session.state import State, changed


@on(steps.StepStarted)
def started(state: State, fact: steps.StepStarted) -> State:
    return changed(
        state, mode=moved(state.mode, f"start_{fact.mode}"), current=fact.step, since_ms=fact.at_ms,
        stroke_ms=-1, claimed_ms=-1, asked="", questioned=False, value="", marks=frozenset(), patch_since_ms=-1,
        **UNSPELT,
    )


@on(steps.StrokeStarted)
def stroke(state: State, fact: steps.StrokeStarted) -> State:
    return changed(state, stroke_ms=fact.stroke_ms)


@on(steps.ReadBackAsked)
def read_back(state: State, fact: steps.ReadBackAsked) -> State:
    return push(state, "read_back", asked=fact.what, claimed_ms=fact.claimed_ms)


@on(steps.ClaimQuestioned)
def questioned(state: State, fact: Fact) -> State:
    return changed(state, questioned=True)


@on(steps.ClaimDropped)
def dropped(state: State, fact: Fact) -> State:
    if state.mode == "step":  # the question about a quick claim was answered no
        return changed(state, questioned=False, claimed_ms=-1)
    to = state.under[-1]
    return changed(
        state, mode=moved(state.mode, f"return_to_{to}"), under=state.under[:-1], asked="", claimed_ms=-1,
        questioned=False,
    )


@on(steps.WitnessAsked)
def witness_asked(state: State, fact: steps.WitnessAsked) -> State:
    if state.mode == "read_back":  # the read back is over; the step is still underneath
        return changed(state, mode=moved(state.mode, "ask_witness"), claimed_ms=fact.claimed_ms)
    return push(state, "ask_witness", claimed_ms=fact.claimed_ms)


@on(steps.StepConfirmed)
def confirmed(state: State, fact: steps.StepConfirmed) -> State:
    top = state.top
    state = leave_step(state, "finish_step")
    state = changed(
        state, confirmed=remember(state, fact.step),
        confirmed_ms=with_key(state.confirmed_ms, fact.step, fact.claimed_ms),
        settling=(*state.settling, fact.step),
    )
    if fact.step.startswith("bridge:") and not fact.step.startswith("bridge:person:"):
        return state
    frame = replace(top, done=top.done | {fact.step}, skipped=top.skipped - {fact.step})
    return changed(state, frames=with_top(state, frame))


@on(steps.StepSkipped)
def skipped(state: State, fact: steps.StepSkipped) -> State:
    top = state.top
    state = leave_step(state, "finish_step")
    return changed(
        state, frames=with_top(state, replace(top, skipped=top.skipped | {fact.step})),
        confirmed=remember(state, f"skip:{fact.step}"),
    )


@on(steps.StepOwed)
def owed(state: State, fact: steps.StepOwed) -> State:
    step = fact.step
    frames = tuple(
        replace(f, done=f.done - {step}, skipped=f.skipped - {step}) if step in f.done or step in f.skipped else f
        for f in state.frames
    )
    gone = (step, f"skip:{step}")
    return changed(
        state, frames=frames, confirmed=tuple(s for s in state.confirmed if s not in gone),
        confirmed_ms=without(state.confirmed_ms, step), values=without(state.values, step),
        warned=state.warned - {f"step:{step}"}, missed=state.missed - {f"step:{step}"}, settling=tuple(s for s in state.settling if s != step),
    )


@on(steps.CorrectionMade)
def correction(state: State, fact: steps.CorrectionMade) -> State:
    state = unask_rewets(leave_step(state, "take_back"))
    gone = fact.step
    last = len(state.confirmed) - 1 - state.confirmed[::-1].index(gone) if gone in state.confirmed else -1
    return changed(state, confirmed=tuple(s for i, s in enumerate(state.confirmed) if i != last))


@on(steps.ValueHeard)
def value_heard(state: State, fact: steps.ValueHeard) -> State:
    return changed(state, mode=moved(state.mode, "hear_value"), value=fact.value, to_mend="")


@on(steps.ValueDropped)
def value_dropped(state: State, fact: steps.ValueDropped) -> State:
    return changed(
        state, mode=moved(state.mode, "drop_value"), value="", spelt="", to_mend=fact.value if fact.mend else "",
    )


@on(steps.ValueFailed)
def value_failed(state: State, fact: steps.ValueFailed) -> State:
    return changed(state, value_fails=fact.times)


@on(steps.SpellingAsked)
def spelling_asked(state: State, fact: Fact) -> State:
    return changed(state, spelling=True, spelt="", to_mend="", misheard=0)


@on(steps.SignsHeard)
def signs_heard(state: State, fact: steps.SignsHeard) -> State:
    return changed(state, spelt=fact.signs)


@on(steps.ValueAccepted)
def value_accepted(state: State, fact: steps.ValueAccepted) -> State:
    return changed(state, values=with_key(state.values, fact.step, fact.value))


@on(steps.WaitEnded)
def wait_ended(state: State, fact: steps.WaitEnded) -> State:
    top = state.top
    state = leave_step(state, "end_wait")
    if fact.step.startswith("bridge:"):
        return state
    return changed(state, frames=with_top(state, replace(top, done=top.done | {fact.step})))


@on(steps.TimeLeftSaid)
def time_left(state: State, fact: steps.TimeLeftSaid) -> State:
    return changed(state, marks=state.marks | {fact.mark_ms})
