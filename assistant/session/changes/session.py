"""The beginning, the questions at the start, pauses and the end."""

from __future__ import annotations

from assistant.session.changes.base import leave_step, on, push, unask_rewets, without
from assistant.session.facts import session
from assistant.session.facts.base import Fact
from assistant.session.modes import moved
from assistant.session.state import State, changed


@on(session.SessionBegun)
def begun(state: State, fact: session.SessionBegun) -> State:
    return changed(
        state, mode=moved(state.mode, "begin"), person=fact.person, kind=fact.kind, voice=fact.voice,
        brief=fact.brief, begun_ms=fact.at_ms,
    )


@on(session.OptionAsked)
def option_asked(state: State, fact: session.OptionAsked) -> State:
    return changed(state, mode=moved(state.mode, "ask_option"), value=fact.option)


@on(session.OptionAnswered)
def option_answered(state: State, fact: session.OptionAnswered) -> State:
    mode = moved(state.mode, "answer_option") if fact.given == "said" else state.mode
    options = {**without(state.options, fact.option), fact.option: fact.value}  # the newest last
    return changed(state, mode=mode, value="", asked="", questioned=False, options=options)


@on(session.OptionReadBack)
def option_read_back(state: State, fact: session.OptionReadBack) -> State:
    return changed(state, questioned=True, asked="yes" if fact.value else "no")


@on(session.OptionReadBackDropped)
def option_read_back_dropped(state: State, fact: Fact) -> State:
    return changed(state, questioned=False, asked="")


@on(session.OptionTakenBack)
def option_taken_back(state: State, fact: session.OptionTakenBack) -> State:
    options = without(state.options, fact.option)
    if state.mode == "option":
        return changed(state, mode=moved(state.mode, "answer_option"), value="", asked="", questioned=False, options=options)
    return changed(unask_rewets(leave_step(state, "take_back")), options=options)


@on(session.Paused)
def paused(state: State, fact: Fact) -> State:
    return push(state, "pause")


@on(session.Returned)
def returned(state: State, fact: session.Returned) -> State:
    stop = 0 if state.mode == "stopping" else state.stop_depth
    return changed(
        state, mode=moved(state.mode, f"return_to_{fact.to}"), under=state.under[:-1], which=(), which_from=0, mishap="",
        stop_depth=stop, before_rewet_ms=(0, 0),
    )


@on(session.PersonChanged)
def person(state: State, fact: session.PersonChanged) -> State:
    return changed(state, person=fact.person)


@on(session.StopBegun)
def stop(state: State, fact: Fact) -> State:
    # A stop never lies over a question about a mishap, nor over another stop: `under` stays short.
    below = tuple(m for m in (*state.under, state.mode) if m not in ("trouble", "which"))
    if "stopping" in below:
        below = below[: below.index("stopping")]
    return changed(
        state, mode=moved(state.mode, "begin_stop"), under=below, stop_depth=len(state.frames), which=(), which_from=0, mishap="",
    )


@on(session.VerdictReached)
def verdict(state: State, fact: session.VerdictReached) -> State:
    return changed(
        state, mode=moved(state.mode, f"reach_{fact.verdict}"), under=(), verdict=fact.verdict, current="",
        rewets=(), stop_depth=0,
    )
