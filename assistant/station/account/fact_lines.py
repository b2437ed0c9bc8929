"""One line of text for a fact, for screens and logs; the same words on both."""

from __future__ import annotations

from assistant.account.times import clock_text
from assistant.procedure.model.plan import Plan
from assistant.session.facts import contacts, lines, machine, session, steps, troubles
from assistant.session.facts.base import Fact
from assistant.session.lookup import name_of, said_as

# Facts worth a line of their own on a plain terminal: label and what to show.
_MARKS = {"instruction": "says", "answer": "says", "announcement": "says", "question": "asks", "warning": "warns",
          "refusal": "says", "notice": "says"}


def fact_line(plan: Plan, fact: Fact) -> str:
    """One plain line for a fact, or "" for one that needs none. The label comes first, never a colour alone."""
    if isinstance(fact, lines.LineSpoken):
        return f"{_MARKS[fact.role]:>9}: {fact.text[:1].upper()}{fact.text[1:]}"
    if isinstance(fact, lines.Heard):
        what = (said_as(plan, fact.word) if fact.word else fact.value) or "nothing it knows"
        if fact.accepted:
            sure = f"  ({fact.confidence_pm / 10:.0f} %)" if fact.confidence_pm else ""  # not every engine says
            return f"{'heard':>9}: {what}{sure}"
        return f"{'refused':>9}: {what}  ({fact.reason})"
    if isinstance(fact, contacts.ContactStarted):
        left = clock_text(fact.complete_at_ms - fact.wet_since_ms)
        return f"{'timer':>9}: {name_of(plan, fact.surface)}, contact {left}"
    if isinstance(fact, contacts.ContactCompleted):
        return f"{'timer':>9}: {name_of(plan, fact.surface)}, contact time complete"
    if isinstance(fact, contacts.RewetConfirmed):
        return f"{'timer':>9}: {name_of(plan, fact.surface)}, wet again in time"
    if isinstance(fact, machine.CycleStarted):
        return f"{'timer':>9}: {name_of(plan, fact.cycle)}, {clock_text(fact.due_ms - fact.started_ms)}"
    if isinstance(fact, machine.CycleCompleted):
        return f"{'timer':>9}: {name_of(plan, fact.cycle)} finished"
    if isinstance(fact, troubles.Deviation):
        return f"{'deviation':>9}: {fact.text}"
    if isinstance(fact, troubles.RedoPlanned):
        return f"{'to redo':>9}: " + "; ".join(fact.reasons)
    if isinstance(fact, steps.CorrectionMade):
        return f"{'taken back':>9}: {fact.step}"
    if isinstance(fact, session.VerdictReached):
        return f"{'verdict':>9}: {fact.verdict}"
    return ""


def printable(text: str) -> str:
    """Without anything a terminal would act on: a spoken name must not move the cursor."""
    return "".join(ch if ch.isprintable() or ch == "\n" else "\N{REPLACEMENT CHARACTER}" for ch in text)
