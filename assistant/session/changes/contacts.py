"""Contact times: a surface is wet, dries, is wetted again, has been wet long enough."""

from __future__ import annotations

from dataclasses import replace

from assistant.session.changes.base import leave_step, on, push, remember, with_key, without
from assistant.session.facts import contacts
from assistant.session.state import CLEAN, DIRTY, WET, Contact, State, changed

_NEWEST = 8  # contact ends remembered for words begun before them


def ends(state: State, what: str, due_ms: int) -> dict[str, object]:
    """The fields that change when one more end is to be announced."""
    since = state.announce_ms if state.announce else due_ms
    waiting = state.announce if what in state.announce else (*state.announce, what)
    return {"announce": waiting, "announce_ms": since}


def _newest(state: State, surface: str) -> dict[str, str]:
    """The surfaces in the order in which they were wetted, the newest last."""
    return {**without(state.surfaces, surface), surface: WET}


@on(contacts.ContactStarted)
def started(state: State, fact: contacts.ContactStarted) -> State:
    contact = Contact(
        fact.surface, fact.step, fact.agent, fact.wet_since_ms, fact.complete_at_ms, fact.dries_at_ms,
        fact.rewet_at_ms,
    )
    return changed(
        state, contacts=with_key(state.contacts, fact.surface, contact),
        surfaces=_newest(state, fact.surface), last_wetted=fact.surface,
        settling=tuple(s for s in state.settling if s != fact.step),
    )


@on(contacts.RewetAsked)
def rewet_asked(state: State, fact: contacts.RewetAsked) -> State:
    contact = replace(state.contacts[fact.surface], asked_ms=fact.at_ms, stroke_again_ms=-1)
    before = state.before_rewet_ms
    if state.mode != "rewet":
        # While a line sounded, no word can have answered what lies under.
        since = fact.at_ms if state.open_lines else max(state.entered_ms, state.quiet_ms)
        before = (since, fact.at_ms)
    return push(
        state, "ask_rewet", contacts=with_key(state.contacts, fact.surface, contact),
        rewets=(*state.rewets, fact.surface), before_rewet_ms=before,
    )


@on(contacts.RewetResumed)
def rewet_resumed(state: State, fact: contacts.RewetResumed) -> State:
    gone = [s for s in state.rewets if s not in fact.surfaces]
    table = {
        s: replace(c, asked_ms=-1, stroke_again_ms=-1) if s in gone else c for s, c in state.contacts.items()
    }
    state = changed(state, contacts=table, rewets=fact.surfaces, before_rewet_ms=(0, 0))
    return push(state, "resume_rewet") if fact.surfaces else state


@on(contacts.RewetStroke)
def rewet_stroke(state: State, fact: contacts.RewetStroke) -> State:
    contact = replace(state.contacts[fact.surface], stroke_again_ms=fact.stroke_ms)
    return changed(state, contacts=with_key(state.contacts, fact.surface, contact))


@on(contacts.RewetConfirmed)
def rewet_confirmed(state: State, fact: contacts.RewetConfirmed) -> State:
    contact = replace(
        state.contacts[fact.surface], dries_at_ms=fact.dries_at_ms, rewet_at_ms=fact.rewet_at_ms, asked_ms=-1,
        stroke_again_ms=-1,
    )
    return changed(
        state, contacts=with_key(state.contacts, fact.surface, contact),
        rewets=tuple(s for s in state.rewets if s != fact.surface),
        confirmed=remember(state, f"rewet:{fact.surface}"), last_wetted=fact.surface,
    )


@on(contacts.SurfaceDried)
def dried(state: State, fact: contacts.SurfaceDried) -> State:
    times = state.dryings.get(fact.surface, 0) + 1
    state = changed(state, dryings=with_key(state.dryings, fact.surface, times))
    if fact.phase == "contact":
        return state  # the void that follows says what it does
    if state.mode in ("step", "read_back", "witness"):
        return leave_step(state, "restart_step")
    # An interruption lies over the step: when it is over, the step begins anew.
    base = tuple(mode for mode in state.under if mode not in ("step", "read_back", "witness"))
    return changed(
        state, under=("ready", *base), current="", stroke_ms=-1, claimed_ms=-1, asked="", questioned=False,
    )


def over(state: State, surface: str, status: str) -> State:
    """No contact runs on `surface` any more, and no re-wet is asked for."""
    return changed(
        state, contacts=without(state.contacts, surface), surfaces=with_key(state.surfaces, surface, status),
        rewets=tuple(s for s in state.rewets if s != surface),
    )


@on(contacts.ContactCompleted)
def completed(state: State, fact: contacts.ContactCompleted) -> State:
    state = over(state, fact.surface, CLEAN)
    state = changed(state, dryings=without(state.dryings, fact.surface))
    newest = (*state.just_done, (fact.surface, fact.due_ms))[-_NEWEST:]
    return changed(state, **ends(state, fact.surface, fact.due_ms), just_done=newest)


@on(contacts.ContactVoided)
def voided(state: State, fact: contacts.ContactVoided) -> State:
    contact = state.contacts.get(fact.surface)
    settling = state.settling if contact is None else (*state.settling, contact.step)
    state = over(state, fact.surface, DIRTY)
    return changed(state, announce=tuple(s for s in state.announce if s != fact.surface), settling=settling)


@on(contacts.RemedyChosen)
def remedy(state: State, fact: contacts.RemedyChosen) -> State:
    return changed(state, dryings=without(state.dryings, fact.surface))


@on(contacts.PatchWetted)
def patch_wetted(state: State, fact: contacts.PatchWetted) -> State:
    return changed(state, patch_since_ms=fact.wet_since_ms, questioned=False)


@on(contacts.PatchDried)
def patch_dried(state: State, fact: contacts.PatchDried) -> State:
    return changed(state, patch_ms=with_key(state.patch_ms, (fact.orientation, fact.agent), fact.wet_ms))


@on(contacts.PatchVoided)
def patch_voided(state: State, fact: contacts.PatchVoided) -> State:
    return changed(state, patch_ms=without(state.patch_ms, (fact.orientation, fact.agent)))
