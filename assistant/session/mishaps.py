"""When something goes wrong: the person first, then what it spoiled, then the way back."""

from __future__ import annotations

from assistant.procedure.plan import (
    SPOIL_ALL, SPOIL_BELOW, SPOIL_CHOSEN, SPOIL_CURRENT, SPOIL_NAMED, SPOIL_RUNNING, SPOIL_ZONE, Mishap, Plan, Spoil,
)
from assistant.session import words as w
from assistant.session.facts import lines, session, troubles
from assistant.session.lookup import name_of, step_of
from assistant.session.owing import break_cycle, owe
from assistant.session.state import DIRTY, SPOILED, State
from assistant.session.stopping import end
from assistant.session.turn import Turn
from assistant.session.wording import listed

_CHOICES = 9  # one spoken digit


def ask_trouble(turn: Turn) -> None:
    """"Trouble" alone: which?"""
    turn.emit(troubles.TroubleAsked(turn.now_ms))
    turn.speak(lines.QUESTION, turn.words("trouble", words=_mishap_words(turn)))


def _mishap_words(turn: Turn) -> str:
    titles = [turn.plan.spoken.get(m.word, m.word.replace("_", " ")) for m in turn.plan.mishaps.values()]
    return ", ".join(titles)


def named(turn: Turn, word: str, started_ms: int) -> None:
    """A mishap was named. One more question where it can't be acted on yet; else its branch at once."""
    mishap = next((m for m in turn.plan.mishaps.values() if m.word == word), None)
    if mishap is None:
        turn.deviate("mishap_unknown", word, turn.words("not_known"))
        return
    if mishap.asks_which and turn.state.mishap != mishap.id:
        turn.emit(troubles.WhichAsked(turn.now_ms, mishap.id, ()))
        turn.speak(lines.QUESTION, mishap.asks_which or turn.words("which_power"))
        return
    if any(spoil.what == SPOIL_CHOSEN for spoil in mishap.spoils):
        choices = candidates(turn, started_ms)
        if len(choices) > 1:
            turn.emit(troubles.WhichAsked(turn.now_ms, mishap.id, choices))
            said = " ".join(
                turn.words("which_choice", n=n, name=name_of(turn.plan, s)) for n, s in enumerate(choices, 1)
            )
            turn.speak(lines.QUESTION, turn.words("which_surface", choices=said))
            return
        enter(turn, mishap, started_ms, choices[0] if choices else "")
        return
    enter(turn, mishap, started_ms)


def candidates(turn: Turn, started_ms: int) -> tuple[str, ...]:
    """The surfaces a "which?" can be about: those wet now, those that were when the word was begun (a
    completion decided meanwhile doesn't shut the question), then the finished ones, newest first."""
    state = turn.state
    wet = list(state.contacts)
    wet += [s for s, due in state.just_done if due >= started_ms and s not in wet]
    if not wet:
        wet = [s for s, status in reversed(state.surfaces.items()) if status == "clean"]
    return tuple(wet[:_CHOICES])


def choose(turn: Turn, value: str, ended_ms: int) -> None:
    """The number of a surface."""
    choices, mishap = turn.state.which, turn.plan.mishaps[turn.state.mishap]
    if value.isdigit() and 1 <= int(value) <= len(choices):
        enter(turn, mishap, ended_ms, choices[int(value) - 1])
    else:
        turn.speak(lines.REFUSAL, turn.words("value_bad"))


def choose_power(turn: Turn, word: str, ended_ms: int) -> None:
    """Which power went: only the enclosure's is a mishap of the clean."""
    mishap = turn.plan.mishaps[turn.state.mishap]
    if word == w.COMPUTER:
        turn.emit(session.Returned(turn.now_ms, turn.state.under[-1]))
        turn.speak(lines.ANSWER, turn.words("computer_on"))
    else:
        enter(turn, mishap, ended_ms)


def enter(turn: Turn, mishap: Mishap, at_ms: int, surface: str = "") -> None:
    """Go into the branch. What it spoils stops counting now, so that nothing spoiled completes meanwhile."""
    spoiled = spoiled_by(turn.plan, turn.state, mishap, surface)
    step = step_of(turn.plan, turn.state)
    where = surface or (step.surface if step else "")
    turn.emit(troubles.BranchEntered(turn.now_ms, mishap.id, where))
    turn.deviate("mishap", mishap.id, turn.words("mishap", title=mishap.title))
    for name in spoiled:
        if turn.state.surfaces.get(name) not in (DIRTY, SPOILED):
            turn.emit(troubles.SurfaceSpoiled(turn.now_ms, name, mishap.title))
    owed = owe(turn, spoiled, mishap.title)
    if mishap.breaks_cycles or mishap.word in ("pressure_alarm", "power_cut"):
        for cycle in turn.plan.cycles.values():
            if mishap.breaks_cycles or mishap.word in cycle.broken_by:
                if break_cycle(turn, cycle.id, mishap.title):
                    turn.speak(lines.WARNING, turn.words("cycle_broken", name=cycle.name), cycle.id)
    if owed and mishap.then == "resume":
        names = [name_of(turn.plan, s) for s in spoiled]
        turn.speak(lines.NOTICE, turn.words("spoiled", names=listed(turn.plan.language, names)))
    if mishap.then == "leave":
        # Nothing is asked: everything needed to get out safely is said at once, and the session is over.
        turn.speak(lines.WARNING, turn.words("left"))
        for one in mishap.steps:
            turn.speak(lines.WARNING, one.say, one.id)
        end(turn, "left")


def spoiled_by(plan: Plan, state: State, mishap: Mishap, surface: str) -> tuple[str, ...]:
    """The surfaces that no longer count, in the plan's order. Only what was wetted can be spoiled; the surface
    at hand simply begins anew."""
    step = step_of(plan, state)
    here = surface or (step.surface if step and step.surface else _last_wetted(plan, state))
    found: set[str] = set()
    for spoil in mishap.spoils:
        found |= _reach(plan, state, spoil, here)
    return tuple(s for s in plan.surfaces if s in found)


def _reach(plan: Plan, state: State, spoil: Spoil, here: str) -> set[str]:
    if spoil.what == SPOIL_ALL:
        return set(plan.surfaces)
    if spoil.what == SPOIL_NAMED:
        return set(spoil.surfaces)
    if spoil.what == SPOIL_RUNNING:
        return set(state.contacts)
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


def _last_wetted(plan: Plan, state: State) -> str:
    for step_id in reversed(state.confirmed):
        if step_id.startswith(("bridge:", "rewet:")):
            continue
        if plan.step(step_id).surface:
            return plan.step(step_id).surface
    return ""


def leave(turn: Turn) -> None:
    """The branch is done: tell who must be told, then go on, or stop."""
    mishap = turn.plan.mishaps[turn.state.top.branch]
    turn.emit(troubles.BranchLeft(turn.now_ms, mishap.id))
    if mishap.tell:
        turn.speak(lines.NOTICE, turn.words("tell", tell=mishap.tell))
    if mishap.then == "stop":
        end(turn, "stopped")
    elif not turn.state.top.branch:
        turn.speak(lines.NOTICE, turn.words("back_to_work"))
