"""The start: who, what, cautions, and the questions the procedure asks first."""

from __future__ import annotations

from assistant.language.sentences import listed
from assistant.procedure.model.plan import WET
from assistant.session import inputs
from assistant.session.asking.prompts import asked
from assistant.session.facts import lines, session, troubles
from assistant.session.lookup import ANSWERS, holds, name_of
from assistant.session.state import CLEAN
from assistant.session.troubles.owing import owe
from assistant.session.turn import Turn


def begin(turn: Turn, given: inputs.Begin) -> None:
    """Open the session. A second Begin changes nothing. Raises ValueError for an unknown option."""
    if turn.state.mode != "idle":
        return
    plan = turn.plan
    known = {option.id for option in plan.options}
    for option, _ in given.options:
        if option not in known:
            raise ValueError(f"unknown option {option!r}; this procedure has: {', '.join(sorted(known)) or 'none'}")
    turn.emit(
        session.SessionBegun(
            turn.now_ms, given.person, given.kind, plan.procedure, plan.revision, plan.sha256, plan.enclosure,
            given.voice, given.brief,
        )
    )
    if given.kind == "practice":
        turn.speak(lines.NOTICE, turn.words("practice"))
    turn.speak(lines.NOTICE, turn.words("begin", title=plan.title, enclosure=plan.enclosure_name))
    for caution in plan.cautions:
        turn.speak(lines.NOTICE, caution)
    claims = {(option.id, option.read_back): option.claim for option in plan.options}
    for option, value in given.options:
        turn.emit(session.OptionAnswered(turn.now_ms, option, value, "preset"))
        turn.speak(lines.NOTICE, turn.words("option_set", claim=claims.get((option, value), "")) if claims.get((option, value)) else "")


def next_option(turn: Turn) -> bool:
    """Ask the next open question; False when all are answered."""
    for option in turn.plan.options:
        if option.id not in turn.state.options:
            turn.emit(session.OptionAsked(turn.now_ms, option.id))
            turn.ask()
            return True
    return False


def answer_option(turn: Turn, yes: bool) -> None:
    """A spoken answer to the question that is open, or to its read back. One that drops a safeguard counts only when
    it was read back."""
    state, option = turn.state, asked(turn.plan, turn.state)
    if state.questioned and not yes:
        drop_answer(turn)
        return
    value = state.asked == "yes" if state.questioned else yes
    if value == option.read_back and not state.questioned:
        turn.emit(session.OptionReadBack(turn.now_ms, option.id, value))
        turn.ask()
        return
    turn.emit(session.OptionAnswered(turn.now_ms, option.id, value))
    turn.speak(lines.ANSWER, turn.words("option_yes" if value else "option_no"))
    _owe_after(turn, option.id)


def drop_answer(turn: Turn) -> None:
    """What was read back isn't meant: the question again."""
    turn.emit(session.OptionReadBackDropped(turn.now_ms, turn.state.value))
    turn.ask()


def take_answer_back(turn: Turn, option: str) -> None:
    """It was wrong: it is asked again, before anything else."""
    turn.emit(session.OptionTakenBack(turn.now_ms, option, turn.state.options[option]))
    ask = next(o.ask for o in turn.plan.options if o.id == option)
    turn.speak(lines.ANSWER, turn.words("correction", step=ask))


def which_answer(turn: Turn) -> None:
    """Of the answers given at the start one was wrong: which, where there are several, the newest first."""
    answers = tuple(reversed(turn.state.options))
    if len(answers) > 1:
        turn.emit(troubles.WhichAsked(turn.now_ms, ANSWERS, answers))
        turn.ask()
    else:
        choose_answer(turn, answers[0])


def choose_answer(turn: Turn, option: str) -> None:
    """This one: back to what the question lay over, and it is asked again."""
    turn.emit(session.Returned(turn.now_ms, turn.state.under[-1]))
    take_answer_back(turn, option)


def _owe_after(turn: Turn, option: str) -> None:
    """An answer that comes after work was done may call for more wiping: what is later done on the same surfaces, the
    waits for them and the way out of their wipes no longer stand."""
    plan, done = turn.plan, turn.state.main.done
    wanted = [
        s for s in plan.steps
        if s.kind == WET and s.id not in done and holds(turn.state, s) and any(w.option == option for w in s.when)
    ]
    if not wanted or not done:
        return
    places = {s.id: at for at, s in enumerate(plan.steps)}
    first = {s.surface: places[s.id] for s in reversed(wanted)}
    later = [s for s in plan.steps if s.kind == WET and s.id in done and places[s.id] > first.get(s.surface, len(places))]
    reason = turn.words("because_answer")
    for surface in dict.fromkeys(s.surface for s in later):
        if turn.state.surfaces.get(surface) == CLEAN:
            turn.emit(troubles.SurfaceSpoiled(turn.now_ms, surface, reason))
    owe(turn, list(first), reason, frozenset(s.id for s in (*wanted, *later)))
    names = [name_of(plan, surface) for surface in dict.fromkeys(s.surface for s in later)]
    if names:
        turn.speak(lines.NOTICE, turn.words("spoiled", names=listed(plan.language, names)))
