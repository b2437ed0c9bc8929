"""What can happen in a state: every word that changes something, values, a witness, a crash, and time.

`pace` moves are what a good technician does at the author's own pace. `vary` moves are the other answers, and the
same word 1 ms before and at the next threshold (once that is passed, the next one is the next move's: a search that
passes thresholds one by one passes all). `depart` moves are mishaps, corrections, skips, interruptions and
crashes. Left out are words that only ask or change the manner of speech (`assistant.language.vocabulary.HARMLESS`, tested
in the core's own suite), and `go_back`, which takes back exactly what `correction` does.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from assistant.language import vocabulary as w
from assistant.procedure.model import plan as p
from assistant.session.inputs import Input, Recover, SignIn, Tick, Value, Witness, Word
from assistant.session.lookup import said_as, step_of
from assistant.session.state import State
from assistant.session.timing.timers import LIMIT_MISSED, LIMIT_WARN, MARK, thresholds
from assistant.session.words import offering
from assistant.session.words.allowed import allowed_words

PACE, VARY, DEPART = "pace", "vary", "depart"
LISTEN_MS = 6_000  # a line is said and understood before the work begins
PERSON, SECOND, NEXT_PERSON = "technician", "second person", "colleague"
_SIGN_IN = "bridge:person:sign-in"  # the step in which only a person who signs in leads on
_LONG_AGO, _FAR = "2000-01-01", "2099-12-31"
TODAY = "2026-01-01"


@dataclass(frozen=True, slots=True)
class Move:
    """One input at one moment. `gives_up`: the run is ended by choice. `serious`: a mishap, correction, crash."""

    at_ms: int
    given: Input
    kind: str = PACE
    gives_up: bool = False


def pace_ms(step: p.Step | None) -> int:
    """How long the author reckons with for this step, listening included."""
    if step is None:
        return 2_000
    expected = max(step.expected_ms, step.impossible_ms, step.floor_ms)
    return max(1_000, expected) + (LISTEN_MS if step.kind == p.WET else 0)


def next_change(plan: p.Plan, state: State, limits: bool = True) -> int | None:
    """The next moment at which time alone changes something that a decision hangs on."""
    for t in thresholds(plan, state):
        if t.rank == MARK or (not limits and t.rank in (LIMIT_MISSED, LIMIT_WARN)):
            continue
        return max(t.at_ms, state.now_ms)
    return None


def pace_moves(plan: p.Plan, state: State, options: dict[str, bool]) -> Iterator[Move]:
    """What the technician does next when all goes well; a question at the start gets this run's answer."""
    now, mode = state.now_ms, state.mode
    step = step_of(plan, state)
    change = next_change(plan, state, limits=False)
    if mode == "option":
        yield Move(now + 2_000, Word(w.CONFIRM if state.questioned or options.get(state.value) else w.NO))
        return
    if mode == "wait":
        if change is not None:
            yield Move(change, Tick())
        return
    at = now + 2_000
    if mode == "step" and state.patch_since_ms >= 0:
        at = max(now + 1_000, state.patch_since_ms + ((step.wet_ms if step else 0) or 120_000))
    elif mode in ("step", "value", "witness"):
        at = max(now + 1_000, state.since_ms + pace_ms(step))
    elif mode == "rewet":
        contact = state.contacts[state.rewets[0]]
        at = max(now + 1_000, contact.asked_ms + pace_ms(plan.step(contact.step)))
    if change is not None and change <= at:
        yield Move(change, Tick())  # something comes up first; the technician goes on from there
        return
    if mode in ("step", "read_back", "value_back", "rewet", "recover", "stopping"):
        if mode == "step" and step is not None and step.id == _SIGN_IN:
            yield Move(at, SignIn(NEXT_PERSON if state.person != NEXT_PERSON else PERSON))
        else:
            yield Move(at, Word(w.REWETTED if mode == "rewet" else w.CONFIRM))
    elif mode == "value":
        yield Move(at, Value(good_value(step)))
    elif mode == "witness":
        yield Move(at, Witness(SECOND, "seen"))
    elif mode == "which":
        yield Move(at, Value("1") if state.which else Word(w.ENCLOSURE))
    elif mode == "trouble":
        yield Move(at, Word(w.CANCEL))
    elif mode == "paused":
        yield Move(at, Word(w.RESUME))


def good_value(step: p.Step | None) -> str:
    """A value that is taken: inside the limits, a lot, a date far ahead."""
    if step is None or step.value_kind == "lot":
        return "AB1234"
    if step.value_kind == "date":
        return _FAR
    low, high = step.low or step.high or "1", step.high or step.low or "1"
    return str((Decimal(low) + Decimal(high)) / 2)


def bad_values(step: p.Step | None) -> list[str]:
    """Values outside: just below, just above, a date long past."""
    if step is None:
        return []
    found = []
    if step.value_kind == "number":
        digits = len((step.low or step.high).partition(".")[2])
        unit = Decimal(1).scaleb(-digits)
        found += [str(Decimal(step.low) - unit)] if step.low else []
        found += [str(Decimal(step.high) + unit)] if step.high else []
    elif step.value_kind == "date":
        found.append(_LONG_AGO)
    return found


def answer_moves(plan: p.Plan, state: State, found_other: bool = False) -> Iterator[Move]:
    """The other answers: no, a value outside, a stroke said, a witness who is none. After a crash at most one
    thing is found other than it was left (`found_other`: that was so already)."""
    now, mode = state.now_ms, state.mode
    step = step_of(plan, state)
    allowed = allowed_words(plan, state)
    at = now + 1_000
    if w.NO in allowed and mode != "option" and not (mode == "recover" and found_other):
        yield Move(at, Word(w.NO), VARY)
    if w.STARTED in allowed:
        yield Move(at, Word(w.STARTED), VARY)
    if mode == "step" and step is not None and step.impossible_ms:
        yield Move(now + 1, Word(w.CONFIRM), VARY)
    elif mode == "value":
        for text in bad_values(step):
            yield Move(at, Value(text), VARY)
    elif mode == "witness":
        yield Move(at, Witness(state.person, "seen by myself"), VARY)
    elif mode == "which":
        if len(state.which) > offering.offered(state):
            yield Move(at, Value(offering.MORE), VARY)
        elif len(state.which) > 1:
            yield Move(at, Value(str(len(state.which))), VARY)
        elif not state.which:
            yield Move(at, Word(w.COMPUTER), VARY)
        yield Move(at, Word(w.CANCEL), VARY)
    elif mode == "stopping":
        yield Move(at, Word(w.RESUME), VARY)
    elif mode == "rewet":
        yield Move(at, Word(w.CONFIRM), VARY)  # the word of other work: it counts for neither


def moment_moves(plan: p.Plan, state: State) -> Iterator[Move]:
    """The answer that leads on, and silence, 1 ms before the next change, at it, and begun before it."""
    now, mode = state.now_ms, state.mode
    change = next_change(plan, state)
    if change is None:
        return
    yes = w.REWETTED if mode == "rewet" else w.CONFIRM
    if mode in ("step", "read_back", "rewet", "value_back") and yes in allowed_words(plan, state):
        if change - 1 > now:
            yield Move(change - 1, Word(yes), VARY)
        yield Move(change, Word(yes), VARY)
        if change - 1 > now:
            yield Move(change + 400, Word(yes, change - 1, change + 400), VARY)
            yield Move(change + 400, Word(yes, change - 1, change - 1), VARY)  # understood late
    if change - 1 > now:
        yield Move(change - 1, Tick(), VARY)
    yield Move(change, Tick(), VARY)
    far = next_change(plan, state, limits=False)
    if far is not None and far != change:
        yield Move(far, Tick(), VARY)


def real_moments(plan: p.Plan, state: State, moments: tuple[int, ...]) -> Iterator[Move]:
    """The same at moments that only the site's files know of: where a plan is right, they are the core's own
    thresholds and there is nothing to add."""
    own = {t.at_ms for t in thresholds(plan, state)}
    yes = w.REWETTED if state.mode == "rewet" else w.CONFIRM
    says = state.mode in ("step", "rewet", "read_back") and yes in allowed_words(plan, state)
    for at in moments:
        if at > state.now_ms and not own & {at - 1, at, at + 1}:
            yield Move(at, Word(yes) if says else Tick(), VARY)


def depart_moves(plan: p.Plan, state: State, mishaps: list[str], light: bool) -> Iterator[Move]:
    """Mishaps by name, a correction, a crash; with `light` also a skip and the interruptions."""
    at = state.now_ms + 500
    allowed = allowed_words(plan, state)
    for mishap in mishaps:
        word = plan.mishaps[mishap].word
        if word in allowed:
            yield Move(at, Word(word), DEPART)
    if w.CORRECTION in allowed and state.mode not in ("read_back", "value_back"):
        yield Move(at, Word(w.CORRECTION), DEPART)
    if state.mode not in ("idle", "recover"):
        yield Move(at + 60_000, Recover(60_000), DEPART)
    if light:
        for word in (w.SKIP, w.PAUSE, w.TROUBLE, w.STOP):
            if word in allowed:
                yield Move(at, Word(word), DEPART, gives_up=word == w.STOP)


def plain(given: Input, plan: p.Plan) -> str:
    """An input in plain words; a command as it is said here."""
    if isinstance(given, Word):
        began = given.started_ms is not None and given.ended_ms is not None and given.started_ms < given.ended_ms
        return f'say "{said_as(plan, given.word)}"' + (" (begun just before)" if began else "")
    if isinstance(given, Value):
        return f"say the value {given.value}"
    if isinstance(given, Witness):
        return f"let {given.person} state what they saw"
    if isinstance(given, SignIn):
        return f"let {given.person} sign in"
    if isinstance(given, Recover):
        return f"lose the computer for {given.unwatched_ms // 1000} s and start again"
    if isinstance(given, Tick):
        return "say nothing"
    return "begin"
