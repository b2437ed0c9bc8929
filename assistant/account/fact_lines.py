"""One line of text for a fact, for screens and logs; the same words on both."""

from __future__ import annotations

from assistant.account.telling import tell
from assistant.procedure.model.plan import Plan
from assistant.session.facts import contacts, lines, machine, session, steps, troubles
from assistant.session.facts.base import Fact

_MARKS = {"instruction": "says", "answer": "says", "announcement": "says", "question": "asks", "warning": "warns",
          "refusal": "says", "notice": "says"}
# Facts worth a line of their own on a plain terminal; the others are in the record and on its pages.
_LABELS: dict[type[Fact], str] = {
    contacts.ContactStarted: "timer", contacts.ContactCompleted: "timer", contacts.RewetConfirmed: "timer",
    machine.CycleStarted: "timer", machine.CycleCompleted: "timer", troubles.Deviation: "deviation",
    troubles.RedoPlanned: "to redo", steps.CorrectionMade: "taken back", session.VerdictReached: "verdict",
}


def fact_line(plan: Plan, fact: Fact) -> str:
    """One plain line for a fact, or "" for one that needs none. The label comes first, never a colour alone."""
    text = tell(plan, fact).text
    if isinstance(fact, lines.LineSpoken):
        return f"{_MARKS[fact.role]:>9}: {text[:1].upper()}{text[1:]}"
    if isinstance(fact, lines.Heard):
        return f"{'heard' if fact.accepted else 'refused':>9}: {text}"
    label = _LABELS.get(type(fact))
    return f"{label:>9}: {text.removeprefix('Taken back: ')}" if label else ""


def printable(text: str) -> str:
    """Without anything a terminal would act on: a spoken name must not move the cursor."""
    return "".join(ch if ch.isprintable() or ch == "\n" else "\N{REPLACEMENT CHARACTER}" for ch in text)
