"""`evolve(state, fact) -> state`: what a fact changes, and nothing else. Decides nothing, checks nothing twice."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from assistant.session.facts import contacts, lines, machine, session, steps, troubles
from assistant.session.facts.base import Fact
from assistant.session.modes import moved
from assistant.session.state import (
    BROKEN, CLEAN, COMPLETE, DIRTY, RUNNING, SPOILED, WET, Contact, CycleRun, Frame, State,
)

Handler = Callable[[State, Fact], State]
_HANDLERS: dict[type[Fact], Handler] = {}


def _on(cls: type[Fact]) -> Callable[[Handler], Handler]:
    def register(handler: Handler) -> Handler:
        _HANDLERS[cls] = handler
        return handler

    return register


def evolve(state: State, fact: Fact) -> State:
    """The state after `fact`. Raises ModeRefused where the fact can't follow, KeyError for an unknown class."""
    before = state
    state = _HANDLERS[type(fact)](state, fact)
    now_ms = max(fact.at_ms, state.now_ms)
    if state.mode != before.mode or state.current != before.current or state.rewets[:1] != before.rewets[:1]:
        return replace(state, now_ms=now_ms, entered_ms=now_ms)
    return state if now_ms == state.now_ms else replace(state, now_ms=now_ms)


def fold(state: State, facts: Iterable[Fact]) -> State:
    """All facts in order: live, replay, verification and pages use this one."""
    for fact in facts:
        state = evolve(state, fact)
    return state


def handled() -> frozenset[type[Fact]]:
    """The classes of fact that have a handler."""
    return frozenset(_HANDLERS)


def _push(state: State, trigger: str, **changes: object) -> State:
    """Interrupt: remember the mode underneath, unless the same kind of interruption is already on top."""
    mode = moved(state.mode, trigger)
    under = state.under if mode == state.mode else (*state.under, state.mode)
    return replace(state, mode=mode, under=under, **changes)


def _set(table: dict, key: object, value: object) -> dict:
    return {**table, key: value}


def _without(table: dict, key: object) -> dict:
    if key not in table:
        return table
    return {k: v for k, v in table.items() if k != key}


def _same(state: State, fact: Fact) -> State:
    return state


for _silent in (
    steps.CheckAnswered, steps.WitnessGiven, lines.NotNow, lines.KeysOffered, troubles.RedoPlanned,
    troubles.ClockStepped, troubles.SoundGap,
):
    _HANDLERS[_silent] = _same


# --- the beginning and the end ---


@_on(session.SessionBegun)
def _begun(state: State, fact: session.SessionBegun) -> State:
    return replace(
        state, mode=moved(state.mode, "begin"), person=fact.person, kind=fact.kind, voice=fact.voice,
        brief=fact.brief, begun_ms=fact.at_ms,
    )


@_on(session.OptionAsked)
def _option_asked(state: State, fact: session.OptionAsked) -> State:
    return replace(state, mode=moved(state.mode, "ask_option"), value=fact.option)


@_on(session.OptionAnswered)
def _option_answered(state: State, fact: session.OptionAnswered) -> State:
    mode = moved(state.mode, "answer_option") if fact.given == "said" else state.mode
    return replace(state, mode=mode, value="", options=_set(state.options, fact.option, fact.value))


@_on(session.Paused)
def _paused(state: State, fact: Fact) -> State:
    return _push(state, "pause")


@_on(session.Returned)
def _returned(state: State, fact: session.Returned) -> State:
    return replace(
        state, mode=moved(state.mode, f"return_to_{fact.to}"), under=state.under[:-1], which=(), mishap="",
    )


@_on(session.PersonChanged)
def _person(state: State, fact: session.PersonChanged) -> State:
    return replace(state, person=fact.person)


@_on(session.StopBegun)
def _stop(state: State, fact: Fact) -> State:
    return _push(state, "begin_stop")


@_on(session.VerdictReached)
def _verdict(state: State, fact: session.VerdictReached) -> State:
    return replace(
        state, mode=moved(state.mode, f"reach_{fact.verdict}"), under=(), verdict=fact.verdict, current="",
        rewets=(),
    )


# --- lines ---


@_on(lines.LineSpoken)
def _spoken(state: State, fact: lines.LineSpoken) -> State:
    opened = state.open_lines | {fact.line} if state.voice else state.open_lines
    last = fact.text if fact.role in (lines.INSTRUCTION, lines.QUESTION) else state.last_text
    return replace(state, lines=fact.line, open_lines=opened, last_text=last)


@_on(lines.LineEnded)
def _ended(state: State, fact: lines.LineEnded) -> State:
    return replace(state, open_lines=state.open_lines - {fact.line})


@_on(lines.Heard)
def _heard(state: State, fact: lines.Heard) -> State:
    if fact.accepted:
        return replace(state, misheard=0) if state.misheard else state
    return replace(state, misheard=state.misheard + 1)


@_on(lines.Announced)
def _announced(state: State, fact: lines.Announced) -> State:
    return replace(state, announce=tuple(a for a in state.announce if a not in fact.ends))


@_on(lines.MannerChanged)
def _manner(state: State, fact: lines.MannerChanged) -> State:
    if fact.manner in ("brief", "full"):
        return replace(state, brief=fact.manner == "brief")
    return state


# --- steps ---


@_on(steps.StepStarted)
def _started(state: State, fact: steps.StepStarted) -> State:
    return replace(
        state, mode=moved(state.mode, f"start_{fact.mode}"), current=fact.step, since_ms=fact.at_ms,
        stroke_ms=-1, claimed_ms=-1, asked="", questioned=False, value="", marks=frozenset(), patch_since_ms=-1,
    )


@_on(steps.StrokeStarted)
def _stroke(state: State, fact: steps.StrokeStarted) -> State:
    return replace(state, stroke_ms=fact.stroke_ms)


@_on(steps.ReadBackAsked)
def _read_back(state: State, fact: steps.ReadBackAsked) -> State:
    return _push(state, "read_back", asked=fact.what, claimed_ms=fact.claimed_ms)


@_on(steps.ClaimQuestioned)
def _questioned(state: State, fact: Fact) -> State:
    return replace(state, questioned=True)


@_on(steps.ClaimDropped)
def _dropped(state: State, fact: Fact) -> State:
    to = state.under[-1]
    return replace(state, mode=moved(state.mode, f"return_to_{to}"), under=state.under[:-1], asked="", claimed_ms=-1)


@_on(steps.WitnessAsked)
def _ask_witness(state: State, fact: steps.WitnessAsked) -> State:
    if state.mode == "read_back":  # the read back is over; the step is still underneath
        return replace(state, mode=moved(state.mode, "ask_witness"), claimed_ms=fact.claimed_ms)
    return _push(state, "ask_witness", claimed_ms=fact.claimed_ms)


def _leave_step(state: State, trigger: str) -> State:
    return replace(
        state, mode=moved(state.mode, trigger), under=(), current="", stroke_ms=-1, claimed_ms=-1, asked="",
        questioned=False, value="", which=(), mishap="", patch_since_ms=-1, marks=frozenset(),
    )


def _with_top(state: State, frame: Frame) -> tuple[Frame, ...]:
    return (*state.frames[:-1], frame)


@_on(steps.StepConfirmed)
def _confirmed(state: State, fact: steps.StepConfirmed) -> State:
    top = state.top
    state = _leave_step(state, "finish_step")
    state = replace(
        state, confirmed=(*state.confirmed, fact.step),
        confirmed_ms=_set(state.confirmed_ms, fact.step, fact.claimed_ms),
    )
    if fact.step.startswith("bridge:"):
        return state
    return replace(
        state,
        frames=_with_top(state, replace(top, done=top.done | {fact.step}, skipped=top.skipped - {fact.step})),
    )


@_on(steps.StepSkipped)
def _skipped(state: State, fact: steps.StepSkipped) -> State:
    top = state.top
    state = _leave_step(state, "finish_step")
    return replace(state, frames=_with_top(state, replace(top, skipped=top.skipped | {fact.step})))


@_on(steps.StepOwed)
def _owed(state: State, fact: steps.StepOwed) -> State:
    step = fact.step
    frames = tuple(replace(f, done=f.done - {step}) if step in f.done else f for f in state.frames)
    confirmed = tuple(s for s in state.confirmed if s != step)
    return replace(
        state, frames=frames, confirmed=confirmed, confirmed_ms=_without(state.confirmed_ms, step),
        values=_without(state.values, step), warned=state.warned - {f"step:{step}"},
        missed=state.missed - {f"step:{step}"},
    )


@_on(steps.CorrectionMade)
def _correction(state: State, fact: steps.CorrectionMade) -> State:
    state = _leave_step(state, "take_back")
    gone = fact.step
    last = len(state.confirmed) - 1 - state.confirmed[::-1].index(gone) if gone in state.confirmed else -1
    confirmed = tuple(s for i, s in enumerate(state.confirmed) if i != last)
    return replace(state, confirmed=confirmed, rewets=())


@_on(steps.ValueHeard)
def _value_heard(state: State, fact: steps.ValueHeard) -> State:
    return replace(state, mode=moved(state.mode, "hear_value"), value=fact.value)


@_on(steps.ValueDropped)
def _value_dropped(state: State, fact: Fact) -> State:
    return replace(state, mode=moved(state.mode, "drop_value"), value="")


@_on(steps.ValueAccepted)
def _value_accepted(state: State, fact: steps.ValueAccepted) -> State:
    return replace(state, values=_set(state.values, fact.step, fact.value))


@_on(steps.WaitEnded)
def _wait_ended(state: State, fact: steps.WaitEnded) -> State:
    top = state.top
    state = _leave_step(state, "end_wait")
    if fact.step.startswith("bridge:"):
        return state
    return replace(state, frames=_with_top(state, replace(top, done=top.done | {fact.step})))


@_on(steps.TimeLeftSaid)
def _time_left(state: State, fact: steps.TimeLeftSaid) -> State:
    return replace(state, marks=state.marks | {fact.mark_ms})


# --- contacts ---


@_on(contacts.ContactStarted)
def _contact_started(state: State, fact: contacts.ContactStarted) -> State:
    contact = Contact(
        fact.surface, fact.step, fact.agent, fact.wet_since_ms, fact.complete_at_ms, fact.dries_at_ms,
        fact.rewet_at_ms,
    )
    return replace(
        state, contacts=_set(state.contacts, fact.surface, contact),
        surfaces=_set(state.surfaces, fact.surface, WET),
    )


@_on(contacts.RewetAsked)
def _rewet_asked(state: State, fact: contacts.RewetAsked) -> State:
    contact = replace(state.contacts[fact.surface], asked_ms=fact.at_ms, stroke_again_ms=-1)
    return _push(
        state, "ask_rewet", contacts=_set(state.contacts, fact.surface, contact),
        rewets=(*state.rewets, fact.surface),
    )


@_on(contacts.RewetStroke)
def _rewet_stroke(state: State, fact: contacts.RewetStroke) -> State:
    contact = replace(state.contacts[fact.surface], stroke_again_ms=fact.stroke_ms)
    return replace(state, contacts=_set(state.contacts, fact.surface, contact))


@_on(contacts.RewetConfirmed)
def _rewet_confirmed(state: State, fact: contacts.RewetConfirmed) -> State:
    contact = replace(
        state.contacts[fact.surface], dries_at_ms=fact.dries_at_ms, rewet_at_ms=fact.rewet_at_ms, asked_ms=-1,
        stroke_again_ms=-1,
    )
    return replace(
        state, contacts=_set(state.contacts, fact.surface, contact),
        rewets=tuple(s for s in state.rewets if s != fact.surface),
        confirmed=(*state.confirmed, f"rewet:{fact.surface}"),
    )


@_on(contacts.SurfaceDried)
def _dried(state: State, fact: contacts.SurfaceDried) -> State:
    if fact.phase == "contact":
        return state  # the void that follows says what it does
    if state.mode in ("step", "read_back", "witness"):
        return _leave_step(state, "restart_step")
    # An interruption lies over the step: when it is over, the step begins anew.
    base = tuple(mode for mode in state.under if mode not in ("step", "read_back", "witness"))
    return replace(
        state, under=("ready", *base), current="", stroke_ms=-1, claimed_ms=-1, asked="", questioned=False,
    )


def _contact_over(state: State, surface: str, status: str) -> State:
    return replace(
        state, contacts=_without(state.contacts, surface), surfaces=_set(state.surfaces, surface, status),
        rewets=tuple(s for s in state.rewets if s != surface),
    )


@_on(contacts.ContactCompleted)
def _completed(state: State, fact: contacts.ContactCompleted) -> State:
    state = _contact_over(state, fact.surface, CLEAN)
    return replace(
        state, announce=(*state.announce, fact.surface),
        just_done=(*state.just_done[-3:], (fact.surface, fact.due_ms)),
    )


@_on(contacts.ContactVoided)
def _voided(state: State, fact: contacts.ContactVoided) -> State:
    state = _contact_over(state, fact.surface, DIRTY)
    return replace(state, announce=tuple(s for s in state.announce if s != fact.surface))


@_on(contacts.PatchWetted)
def _patch_wetted(state: State, fact: contacts.PatchWetted) -> State:
    return replace(state, patch_since_ms=fact.wet_since_ms)


@_on(contacts.PatchDried)
def _patch_dried(state: State, fact: contacts.PatchDried) -> State:
    return replace(state, patch_ms=_set(state.patch_ms, (fact.orientation, fact.agent), fact.wet_ms))


# --- the enclosure ---


@_on(machine.CycleStarted)
def _cycle_started(state: State, fact: machine.CycleStarted) -> State:
    run = CycleRun(fact.cycle, fact.started_ms, fact.due_ms, RUNNING)
    return replace(state, cycles=_set(state.cycles, fact.cycle, run))


@_on(machine.CycleCompleted)
def _cycle_completed(state: State, fact: machine.CycleCompleted) -> State:
    run = replace(state.cycles[fact.cycle], status=COMPLETE)
    return replace(
        state, cycles=_set(state.cycles, fact.cycle, run), announce=(*state.announce, f"cycle:{fact.cycle}"),
    )


@_on(machine.CycleBroken)
def _cycle_broken(state: State, fact: machine.CycleBroken) -> State:
    run = replace(state.cycles[fact.cycle], status=BROKEN)
    gone = f"cycle:{fact.cycle}"
    return replace(
        state, cycles=_set(state.cycles, fact.cycle, run), announce=tuple(a for a in state.announce if a != gone),
    )


@_on(machine.OpeningMoved)
def _opening(state: State, fact: machine.OpeningMoved) -> State:
    limit = f"opening:{fact.opening}"
    opened = _set(state.opened_ms, fact.opening, fact.at_ms) if fact.to == "open" else _without(
        state.opened_ms, fact.opening
    )
    return replace(
        state, openings=_set(state.openings, fact.opening, fact.to), opened_ms=opened,
        warned=state.warned - {limit}, missed=state.missed - {limit},
    )


@_on(machine.HandsMoved)
def _hands(state: State, fact: machine.HandsMoved) -> State:
    return replace(state, hands=fact.to)


@_on(machine.MachineSet)
def _machine(state: State, fact: machine.MachineSet) -> State:
    return replace(state, machines=_set(state.machines, fact.machine, fact.value))


@_on(machine.LimitWarned)
def _warned(state: State, fact: machine.LimitWarned) -> State:
    return replace(state, warned=state.warned | {fact.limit})


@_on(machine.LimitMissed)
def _missed(state: State, fact: machine.LimitMissed) -> State:
    return replace(state, missed=state.missed | {fact.limit})


# --- troubles ---


@_on(troubles.TroubleAsked)
def _trouble(state: State, fact: Fact) -> State:
    return _push(state, "ask_trouble")


@_on(troubles.WhichAsked)
def _which(state: State, fact: troubles.WhichAsked) -> State:
    if state.mode == "trouble":  # the first question is answered; only this one is left
        return replace(state, mode=moved(state.mode, "ask_which"), which=fact.choices, mishap=fact.mishap)
    return _push(state, "ask_which", which=fact.choices, mishap=fact.mishap)


@_on(troubles.BranchEntered)
def _branch(state: State, fact: troubles.BranchEntered) -> State:
    state = _leave_step(state, "enter_branch")
    return replace(
        state, frames=(*state.frames, Frame(fact.mishap, surface=fact.surface)), rewets=(), questions=(),
    )


@_on(troubles.BranchLeft)
def _branch_left(state: State, fact: troubles.BranchLeft) -> State:
    gone = state.top.done
    return replace(
        state, mode=moved(state.mode, "leave_branch"), frames=state.frames[:-1],
        confirmed=tuple(s for s in state.confirmed if s not in gone),
    )


@_on(troubles.SurfaceSpoiled)
def _spoiled(state: State, fact: troubles.SurfaceSpoiled) -> State:
    return replace(
        state, surfaces=_set(state.surfaces, fact.surface, SPOILED), contacts=_without(state.contacts, fact.surface),
        rewets=tuple(s for s in state.rewets if s != fact.surface),
        announce=tuple(s for s in state.announce if s != fact.surface),
    )


@_on(troubles.Deviation)
def _deviation(state: State, fact: Fact) -> State:
    return replace(state, deviations=state.deviations + 1)


@_on(troubles.Recovered)
def _recovered(state: State, fact: troubles.Recovered) -> State:
    state = _leave_step(state, "recover")
    return replace(state, questions=fact.questions, open_lines=frozenset(), rewets=(), lost=frozenset())


@_on(troubles.RecoveryAnswered)
def _recovery_answered(state: State, fact: troubles.RecoveryAnswered) -> State:
    return replace(state, questions=state.questions[1:])


@_on(troubles.DeviceLost)
def _lost(state: State, fact: troubles.DeviceLost) -> State:
    return replace(state, lost=state.lost | {fact.device})


@_on(troubles.DeviceBack)
def _back(state: State, fact: troubles.DeviceBack) -> State:
    return replace(state, lost=state.lost - {fact.device})
