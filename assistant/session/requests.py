"""What the core asks of the outside, read off the facts it decided: nothing is asked for that isn't recorded."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from assistant.language import vocabulary as w
from assistant.procedure.model.plan import Plan
from assistant.session.facts import contacts, lines, machine, troubles
from assistant.session.facts.base import Fact
from assistant.session.state import State
from assistant.session.words.allowed import expects, listened_for

# Chimes, by name: what each fact sounds before anything is said about it.
COMPLETE, REWET, WARNING, ALARM, REFUSED = "contact_complete", "re_wet", "warning", "alarm", "refused"
_CHIMES: dict[type[Fact], str] = {
    lines.Announced: COMPLETE,
    contacts.RewetAsked: REWET,
    troubles.Deviation: WARNING,
    machine.LimitWarned: WARNING,
    lines.NotNow: REFUSED,
}
# Mishaps in which seconds count sound the alarm instead of a warning.
_ALARMS = frozenset(("two_open",))


@dataclass(frozen=True, slots=True)
class Say:
    """Speak line `line`. A `WARNING` may cut an answer short, an answer never a warning."""

    line: int
    role: str
    text: str
    about: str = ""


@dataclass(frozen=True, slots=True)
class Chime:
    kind: str


@dataclass(frozen=True, slots=True)
class Hush:
    """Stop what is sounding: the technician said stop, or asks for it again."""


@dataclass(frozen=True, slots=True)
class Manner:
    """How the voice speaks from here on: `slower` or `louder`, each one notch."""

    manner: str


@dataclass(frozen=True, slots=True)
class Listen:
    """Only these commands are told apart now, and a value of kind `expect` (number, lot, date) or None."""

    active: frozenset[str]
    expect: str | None = None


Request = Say | Chime | Hush | Manner | Listen


def requests(facts: Iterable[Fact]) -> tuple[Request, ...]:
    """The sounds that facts call for, in order. The same chime sounds once per decision."""
    out: list[Request] = []
    for fact in facts:
        kind = _chime(fact)
        if kind and Chime(kind) not in out:
            out.append(Chime(kind))
        if isinstance(fact, lines.LineSpoken):
            out.append(Say(fact.line, fact.role, fact.text, fact.about))
        elif isinstance(fact, lines.MannerChanged) and fact.manner in (w.SLOWER, w.LOUDER):
            out.append(Manner(fact.manner))
        elif isinstance(fact, lines.Heard) and fact.accepted and fact.word in (w.STOP, w.REPEAT):
            out.append(Hush())
    return tuple(out)


def listen(plan: Plan, state: State) -> Listen:
    """What the listener should be listening for in this state."""
    return Listen(listened_for(plan, state), expects(plan, state))


def _chime(fact: Fact) -> str:
    if isinstance(fact, lines.Heard):
        unknown = not fact.accepted and not fact.word and fact.source == "voice"
        return REFUSED if unknown else ""
    if isinstance(fact, troubles.Deviation) and fact.code in _ALARMS:
        return ALARM
    return _CHIMES.get(type(fact), "")
