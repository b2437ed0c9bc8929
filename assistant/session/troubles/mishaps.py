"""When something goes wrong: the person first, then what it spoiled, then the way back."""

from __future__ import annotations

from assistant.language import vocabulary as w
from assistant.language.sentences import listed
from assistant.procedure.model.plan import (
    CYCLE,
    SPOIL_ALL,
    SPOIL_BELOW,
    SPOIL_CHOSEN,
    SPOIL_CURRENT,
    SPOIL_NAMED,
    SPOIL_RUNNING,
    SPOIL_ZONE,
    WET,
    Mishap,
    Plan,
    Spoil,
)
from assistant.session.facts import lines, session, troubles
from assistant.session.lookup import (
    ANSWERS,
    first_of_hazard,
    holds,
    name_of,
    remedy_surface,
    said_as,
    step_of,
    urgency,
)
from assistant.session.order import bridging, starting
from assistant.session.state import BROKEN, CLEAN, DIRTY, SPOILED, State
from assistant.session.troubles import remedies
from assistant.session.troubles.owing import break_cycle, owe
from assistant.session.troubles.stopping import end, stop_now
from assistant.session.turn import Turn
from assistant.session.words import offering
from assistant.session.words.answers import return_line, still_wet


def planned(plan: Plan, word: str) -> Mishap | None:
    """The branch a word names, or None."""
    return next((m for m in plan.mishaps.values() if m.word == word), None)


def ask_trouble(turn: Turn) -> None:
    """"Trouble" alone: which?"""
    turn.emit(troubles.TroubleAsked(turn.now_ms))
    turn.ask()


def named(turn: Turn, word: str, started_ms: int, ended_ms: int, *, which_known: bool = False) -> None:
    """A mishap was named. One more question where it can't be acted on yet; else its branch at once."""
    mishap = planned(turn.plan, word)
    if mishap is None:
        _unplanned(turn, word)
        return
    if put_off(turn, mishap, ended_ms):
        turn.ask()
        return
    if mishap.asks_which and not which_known:
        turn.emit(troubles.WhichAsked(turn.now_ms, mishap.id, ()))
        turn.ask()
        return
    choices: tuple[str, ...] = ()
    if any(spoil.what == SPOIL_CHOSEN for spoil in mishap.spoils):
        choices = candidates(turn.state, word, started_ms)
        if len(choices) > 1:
            turn.emit(troubles.WhichAsked(turn.now_ms, mishap.id, choices))
            turn.ask()
            return
    enter(turn, mishap, ended_ms, choices[0] if choices else "")


def put_off(turn: Turn, mishap: Mishap, said_ms: int) -> bool:
    """Heard, and kept for afterwards, where something more urgent is open: a person in danger isn't asked about
    anything less."""
    hazard = most_urgent(turn.plan, turn.state)
    if not hazard or urgency(turn.plan, mishap.id) >= urgency(turn.plan, hazard) or mishap.then == "leave":
        return False
    turn.emit(troubles.MishapNoted(turn.now_ms, mishap.id, said_ms))
    turn.speak(lines.ANSWER, turn.words("noted", title=_capital(mishap.title), first=turn.plan.mishaps[hazard].title))
    return True


def most_urgent(plan: Plan, state: State) -> str:
    """The most urgent mishap whose branch is open, the innermost of equals; "" where none is."""
    open_branches = [frame.branch for frame in reversed(state.frames[1:])]
    return max(open_branches, key=lambda branch: urgency(plan, branch), default="")


def _unplanned(turn: Turn, word: str) -> None:
    """The procedure has no steps for it. For a fire none are needed."""
    if word == w.FIRE:
        turn.deviate("mishap", word, turn.words("mishap", title=said_as(turn.plan, word)))
        turn.speak(lines.WARNING, turn.words("left"))
        end(turn, "left")
    else:
        turn.deviate("mishap_unknown", word, turn.words("not_known"))


def candidates(state: State, word: str, started_ms: int) -> tuple[str, ...]:
    """The surfaces a "which?" can be about: those wet now, and those that were when the word was begun (a
    completion decided meanwhile doesn't shut the question), the one wetted first before the others, since it dries
    first; for anything but drying, every finished one as well, the one wetted last before the others."""
    found = list(state.contacts)
    found += [s for s, due in state.just_done if due >= started_ms and s not in found]
    if word != w.DRY_SURFACE or not found:
        found = [s for s, status in reversed(state.surfaces.items()) if s in found or status == CLEAN]
    return tuple(found)


def choose(turn: Turn, value: str, started_ms: int, ended_ms: int) -> None:
    """The number of a surface, or of a remedy; zero for more of them."""
    state = turn.state
    choices = state.which
    if value == offering.MORE and offering.has_more(state):
        turn.emit(troubles.WhichAsked(turn.now_ms, state.mishap, choices, state.which_from + offering.GROUP))
        turn.ask()
    elif not value.isdecimal() or not 1 <= int(value) <= offering.offered(state):
        turn.speak(lines.REFUSAL, turn.words("value_bad"))
    elif state.mishap == ANSWERS:
        starting.choose_answer(turn, choices[int(value) - 1])
    elif remedy_surface(state):
        remedies.choose(turn, choices[int(value) - 1])
    else:
        mishap = turn.plan.mishaps[turn.state.mishap]
        enter(turn, mishap, ended_ms, choices[int(value) - 1])


def choose_power(turn: Turn, word: str, started_ms: int, ended_ms: int) -> None:
    """Which power went: only the enclosure's is a mishap of the clean."""
    mishap = turn.plan.mishaps[turn.state.mishap]
    if word == w.COMPUTER:
        turn.emit(session.Returned(turn.now_ms, turn.state.under[-1]))
        turn.speak(lines.ANSWER, turn.words("computer_on"))
        return_line(turn)
    else:
        named(turn, mishap.word, started_ms, ended_ms, which_known=True)


def enter(turn: Turn, mishap: Mishap, at_ms: int, surface: str = "") -> None:
    """Go into the branch. What it spoils stops counting now, so that nothing spoiled completes meanwhile.
    `at_ms`: when it was said; what completed after that had not completed when it happened."""
    spoiled = spoiled_by(turn.plan, turn.state, mishap, surface, at_ms)
    step = step_of(turn.plan, turn.state)
    where = surface or (turn.state.rewets or (step.surface if step else "",))[0]
    turn.emit(troubles.BranchEntered(turn.now_ms, mishap.id, where))
    turn.deviate("mishap", mishap.id, turn.words("mishap", title=_capital(mishap.title)))
    if mishap.then == "leave":
        # Nothing is asked: everything needed to get out safely is said at once, and the session is over.
        turn.speak(lines.WARNING, turn.words("left"))
        for one in mishap.steps:
            turn.speak(lines.WARNING, one.say, one.id)
        turn.speak(lines.WARNING, mishap.tell)
    for name in spoiled:
        if turn.state.surfaces.get(name) not in (DIRTY, SPOILED):
            turn.emit(troubles.SurfaceSpoiled(turn.now_ms, name, mishap.title))
    owe(turn, spoiled, mishap.title)
    for cycle in turn.plan.cycles.values():
        if mishap.breaks_cycles or mishap.word in cycle.broken_by:
            break_cycle(turn, cycle.id, mishap.title)
    if mishap.then == "leave":
        end(turn, "left")


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def spoiled_by(plan: Plan, state: State, mishap: Mishap, surface: str, at_ms: int) -> tuple[str, ...]:
    """The surfaces that no longer count, in the plan's order. Only what was wetted can be spoiled; the surface
    at hand simply begins anew."""
    here = surface or worked_on(plan, state)
    found: set[str] = set()
    for spoil in mishap.spoils:
        found |= _reach(plan, state, spoil, here, at_ms)
    return tuple(s for s in plan.surfaces if s in found)


def worked_on(plan: Plan, state: State) -> str:
    """The surface that work is done on, or was last: one asked to be wetted again, before the one at hand (which
    begins anew after a mishap anyway); else the one wetted last, though it may have dried since."""
    step = step_of(plan, state)
    if state.rewets:
        return state.rewets[0]
    return step.surface if step and step.surface else state.last_wetted


def _reach(plan: Plan, state: State, spoil: Spoil, here: str, at_ms: int) -> set[str]:
    if spoil.what == SPOIL_ALL:
        return set(plan.surfaces)
    if spoil.what == SPOIL_NAMED:
        return set(spoil.surfaces)
    if spoil.what == SPOIL_RUNNING:
        return set(state.contacts) | {s for s, due in state.just_done if due > at_ms}
    if spoil.what == SPOIL_ZONE:
        zone = spoil.zone or (plan.surfaces[here].zone if here else "")
        return {s.id for s in plan.surfaces.values() if s.zone == zone}
    if spoil.what in (SPOIL_CURRENT, SPOIL_CHOSEN):
        return {here} if here else set()
    if spoil.what == SPOIL_BELOW and here:
        at = plan.surfaces[here]
        below = {s.id for s in plan.surfaces.values() if s.zone == at.zone and s.height > at.height}
        return below | set(at.beside)
    return set()


def leave(turn: Turn) -> None:
    """The branch is done: tell who must be told, then what it cost and on with the work, or stop."""
    mishap = turn.plan.mishaps[turn.state.top.branch]
    turn.emit(troubles.BranchLeft(turn.now_ms, mishap.id))
    turn.speak(lines.NOTICE, turn.words("tell", tell=mishap.tell))
    if mishap.then == "stop":
        say_held(turn)
        stop_now(turn)
        return
    say_held(turn)
    if _enter_noted(turn):
        return
    if not turn.state.top.branch:
        _say_redo(turn)
        if not turn.state.stop_depth:
            turn.speak(lines.NOTICE, turn.words("back_to_work"))
            if turn.state.contacts:
                turn.speak(lines.NOTICE, still_wet(turn.plan, turn.state))


def say_held(turn: Turn) -> None:
    """What happened to the interrupted work meanwhile, once nobody is in danger any more."""
    held = turn.state.held
    if not held or first_of_hazard(turn.plan, turn.state):
        return
    turn.emit(troubles.HeldSaid(turn.now_ms, held))
    dried = [name_of(turn.plan, h.removeprefix("dried:")) for h in held if h.startswith("dried:")]
    if dried:
        turn.speak(lines.NOTICE, turn.words("dried_meanwhile", names=listed(turn.plan.language, dried)))
    for limit in held:
        if limit.startswith("step:"):
            step = turn.plan.step(limit.removeprefix("step:"))
            turn.speak(lines.NOTICE, turn.words("limit_step_missed", step=step.say), limit)


def _enter_noted(turn: Turn) -> bool:
    """A mishap named meanwhile comes now, if nothing more urgent is open. True if there was one."""
    hazard = most_urgent(turn.plan, turn.state)
    for mishap, said_ms in turn.state.noted:
        if not hazard or urgency(turn.plan, mishap) >= urgency(turn.plan, hazard):
            named(turn, turn.plan.mishaps[mishap].word, said_ms, said_ms)
            return True
    return False


def _say_redo(turn: Turn) -> None:
    """What must be done again, by name: after the person, not before."""
    plan, state = turn.plan, turn.state
    open_steps = [s for s in plan.steps if holds(state, s) and s.id not in state.main.done]
    for cycle in plan.cycles.values():
        run = state.cycles.get(cycle.id)
        owed = [s for s in open_steps if s.kind == CYCLE and s.cycle == cycle.id]
        if run is not None and run.status == BROKEN and owed:
            key = "cycle_later" if bridging.put_off(plan, state, owed[0]) else "cycle_broken"
            turn.speak(lines.WARNING, turn.words(key, name=cycle.name), cycle.id)
    again = [
        name_of(plan, surface) for surface in plan.surfaces
        if state.surfaces[surface] == SPOILED and any(s.kind == WET and s.surface == surface for s in open_steps)
    ]
    if again:
        turn.speak(lines.NOTICE, turn.words("spoiled", names=listed(plan.language, again)))
