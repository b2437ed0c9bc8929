"""What the passing of time brings: surfaces dry, contacts complete, cycles end, limits warn."""

from __future__ import annotations

from assistant.language.sentences import duration
from assistant.session.asking import prompts
from assistant.session.facts import contacts, lines, machine, steps
from assistant.session.lookup import interrupted, name_of, wait_left
from assistant.session.timing import timers
from assistant.session.timing.timers import Threshold, thresholds
from assistant.session.troubles.owing import lost_contacts
from assistant.session.turn import Turn

_MOST = 10_000  # a plan whose thresholds never end is a fault of ours; stop rather than hang


def pass_time(turn: Turn) -> bool:
    """Let everything due up to now happen, earliest first, each stamped with the moment it is decided. True if
    anything was due."""
    for n in range(_MOST):
        due = [t for t in thresholds(turn.plan, turn.state)[:1] if t.at_ms <= turn.now_ms]
        if not due:
            return n > 0
        _HANDLERS[due[0].rank](turn, due[0])
    raise RuntimeError("thresholds never end")


def _dried(turn: Turn, due: Threshold) -> None:
    wetting = due.subject.startswith("wetting:")
    surface = due.subject.removeprefix("wetting:")
    name = name_of(turn.plan, surface)
    if wetting:
        turn.emit(contacts.SurfaceDried(turn.now_ms, surface, due.at_ms, "wetting"))
        turn.deviate("dried_wetting", surface, turn.words("dried_wetting", name=name))
        return
    first = turn.state.rewets[:1]
    later = interrupted(turn.plan, turn.state, turn.state.contacts[surface].step)
    turn.emit(contacts.SurfaceDried(turn.now_ms, surface, due.at_ms, "contact"))
    lost_contacts(turn, [surface], turn.words("because_dried"))
    turn.deviate("dried_contact", surface, turn.words("dried_contact", name=name), f"dried:{surface}" if later else "")
    if turn.state.mode == "rewet" and turn.state.rewets and turn.state.rewets[:1] != first:
        turn.speak(lines.WARNING, prompts.rewet(turn.plan, turn.state), turn.state.rewets[0])


def _complete(turn: Turn, due: Threshold) -> None:
    turn.emit(contacts.ContactCompleted(turn.now_ms, due.subject, due.at_ms))


def _cycle(turn: Turn, due: Threshold) -> None:
    turn.emit(machine.CycleCompleted(turn.now_ms, due.subject, due.at_ms))


def _rewet(turn: Turn, due: Threshold) -> None:
    turn.emit(contacts.RewetAsked(turn.now_ms, due.subject))
    # One at a time: the first asked for stays the one a confirmation speaks of, and is named again.
    turn.speak(lines.WARNING, prompts.rewet(turn.plan, turn.state), turn.state.rewets[0])


def _limit_texts(turn: Turn, limit: str) -> tuple[str, dict[str, object]]:
    kind, subject = limit.split(":", 1)
    if kind == "opening":
        return "limit_opening", {"name": name_of(turn.plan, subject)}
    return "limit_step", {"step": turn.plan.step(subject).say}


def _limit_warn(turn: Turn, due: Threshold) -> None:
    turn.emit(machine.LimitWarned(turn.now_ms, due.subject, due.at_ms))
    key, values = _limit_texts(turn, due.subject)
    missed = [t.at_ms for t in thresholds(turn.plan, turn.state) if t.subject == due.subject]
    left = duration(turn.plan.language, (missed[0] if missed else due.at_ms) - turn.now_ms)
    turn.speak(lines.WARNING, turn.words(f"{key}_warn", time=left, **values), due.subject)


def _limit_missed(turn: Turn, due: Threshold) -> None:
    turn.emit(machine.LimitMissed(turn.now_ms, due.subject, due.at_ms))
    key, values = _limit_texts(turn, due.subject)
    later = due.subject if _of_interrupted(turn, due.subject) else ""
    turn.deviate(f"{key}_missed", due.subject, turn.words(f"{key}_missed", **values), later)


def _of_interrupted(turn: Turn, limit: str) -> bool:
    """A step's time limit belongs to its line of work; an open door is a hazard of its own and always speaks."""
    return limit.startswith("step:") and interrupted(turn.plan, turn.state, limit.removeprefix("step:"))


def _mark(turn: Turn, due: Threshold) -> None:
    mark = int(due.subject)
    turn.emit(steps.TimeLeftSaid(turn.now_ms, turn.state.current, mark))
    left = wait_left(turn.plan, turn.state, turn.step) - turn.now_ms
    later = any(t.rank == timers.MARK and t.at_ms <= turn.now_ms for t in thresholds(turn.plan, turn.state))
    # Never over a line, never two at once, and nothing when the wait is over: then its end is said instead.
    if left > 0 and not later and not turn.state.open_lines:
        turn.speak(lines.ANNOUNCEMENT, turn.words("mark", time=duration(turn.plan.language, left)))


_HANDLERS = {
    timers.DRIED: _dried,
    timers.LIMIT_MISSED: _limit_missed,
    timers.LIMIT_WARN: _limit_warn,
    timers.REWET: _rewet,
    timers.COMPLETE: _complete,
    timers.CYCLE: _cycle,
    timers.MARK: _mark,
}
