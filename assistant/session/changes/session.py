"""The beginning, the questions at the start, pauses and the end."""

from __future__ import annotations

from assistant.session.changes.base import on, push, with_key
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
    return changed(state, mode=mode, value="", options=with_key(state.options, fact.option, fact.value))


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
