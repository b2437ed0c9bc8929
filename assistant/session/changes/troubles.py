"""Mishaps, deviations, recoveries, devices and clocks."""

from __future__ import annotations

from dataclasses import replace

from assistant.session.changes.base import HANDLERS, leave_step, on, push, unask_rewets, with_key, without
from assistant.session.facts import lines, steps, troubles
from assistant.session.facts.base import Fact
from assistant.session.modes import moved
from assistant.session.state import SPOILED, Frame, State, changed


def same(state: State, fact: Fact) -> State:
    """A fact that is only to be known."""
    return state


for _silent in (
    steps.CheckAnswered, steps.WitnessGiven, lines.NotNow, lines.KeysOffered, troubles.RedoPlanned,
    troubles.ClockStepped, troubles.SoundGap,
):
    HANDLERS[_silent] = same


@on(troubles.TroubleAsked)
def trouble(state: State, fact: Fact) -> State:
    return push(state, "ask_trouble")


@on(troubles.WhichAsked)
def which(state: State, fact: troubles.WhichAsked) -> State:
    if state.mode in ("trouble", "which"):  # the question before is answered or given up; only this one is left
        state = changed(state, mode=moved(state.mode, "ask_which"))
    else:
        state = push(state, "ask_which")
    return changed(
        state, which=fact.choices, which_from=fact.first, mishap=fact.mishap, noted=_not_noted(state, fact.mishap)
    )


def _not_noted(state: State, mishap: str) -> tuple[tuple[str, int], ...]:
    return tuple(noted for noted in state.noted if noted[0] != mishap)


@on(troubles.MishapNoted)
def noted(state: State, fact: troubles.MishapNoted) -> State:
    return changed(state, noted=(*_not_noted(state, fact.mishap), (fact.mishap, fact.said_ms)))


@on(troubles.HeldBack)
def held_back(state: State, fact: troubles.HeldBack) -> State:
    return state if fact.about in state.held else changed(state, held=(*state.held, fact.about))


@on(troubles.HeldSaid)
def held_said(state: State, fact: troubles.HeldSaid) -> State:
    return changed(state, held=tuple(about for about in state.held if about not in fact.about))


@on(troubles.BranchEntered)
def branch(state: State, fact: troubles.BranchEntered) -> State:
    state = unask_rewets(leave_step(state, "enter_branch"))
    # The same mishap once more begins its steps anew: the older line of work would only repeat them.
    older = [f for f in state.frames if f.branch == fact.mishap]
    kept = [f for f in state.frames if f.branch != fact.mishap]
    for frame in older:
        kept[0] = replace(kept[0], skipped=kept[0].skipped | frame.skipped)
    new = Frame(fact.mishap, frozenset(fact.done), surface=fact.surface, person=state.person)
    return changed(
        state, frames=(*kept, new), stop_depth=min(state.stop_depth, len(kept)),
        question_depth=min(state.question_depth, len(kept)), noted=_not_noted(state, fact.mishap),
    )


@on(troubles.BranchLeft)
def branch_left(state: State, fact: troubles.BranchLeft) -> State:
    left, kept = state.top, list(state.frames[:-1])
    # A step left out of a branch is never made good by the main line: the run can't end complete.
    kept[0] = replace(kept[0], skipped=kept[0].skipped | left.skipped)
    return changed(state, mode=moved(state.mode, "leave_branch"), frames=tuple(kept))


@on(troubles.SurfaceSpoiled)
def spoiled(state: State, fact: troubles.SurfaceSpoiled) -> State:
    return changed(
        state, surfaces=with_key(state.surfaces, fact.surface, SPOILED),
        contacts=without(state.contacts, fact.surface), rewets=tuple(s for s in state.rewets if s != fact.surface),
        announce=tuple(s for s in state.announce if s != fact.surface),
    )


@on(troubles.Deviation)
def deviation(state: State, fact: Fact) -> State:
    return changed(state, deviations=state.deviations + 1)


@on(troubles.Recovered)
def recovered(state: State, fact: troubles.Recovered) -> State:
    state = unask_rewets(leave_step(state, "recover"))
    return changed(
        state, questions=fact.questions, question_depth=fact.after or len(state.frames), open_lines=frozenset(), quiet_ms=0, lost=frozenset(), misheard=0,
        entered_ms=fact.at_ms,
    )


@on(troubles.RecoveryAnswered)
def recovery_answered(state: State, fact: troubles.RecoveryAnswered) -> State:
    left = state.questions[1:]
    if fact.yes and fact.question.startswith("hands:"):
        left = tuple(q for q in left if not q.startswith("hands:"))
    return changed(state, questions=left)


@on(troubles.QuestionsResumed)
def questions_resumed(state: State, fact: Fact) -> State:
    return changed(state, mode=moved(state.mode, "ask_again"))


@on(troubles.DeviceLost)
def lost(state: State, fact: troubles.DeviceLost) -> State:
    return changed(state, lost=state.lost | {fact.device})


@on(troubles.DeviceBack)
def back(state: State, fact: troubles.DeviceBack) -> State:
    return changed(state, lost=state.lost - {fact.device})
