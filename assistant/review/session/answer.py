"""The first thing on a session's page: may I release? In words, with how sure that is."""

from __future__ import annotations

from dataclasses import dataclass, field

from assistant.review.deciding.decisions import ACCEPTED, PROVISIONAL, REJECTED, REMARK, Signed
from assistant.review.session.digest import Digest

CLEAR, LOOK, STOP, DONE, REFUSED, NEVER = "clear", "look", "stop", "done", "refused", "never"


@dataclass(frozen=True)
class Answer:
    """`level`: one of the above; `headline`: the answer; `detail`: one more sentence. `affects`: show what
    hangs on it."""

    level: str
    headline: str
    detail: str
    reasons: list[str] = field(default_factory=list)
    affects: bool = False


def answer(summary: Digest, *, kind: str, state: str, problem: str, decision: Signed | None) -> Answer:
    """From what the record says. `state`: sealed, live, open or broken; `problem`: what is wrong with the
    record."""
    said = {f.text for f in summary.findings if f.kind == "verdict"}  # the headline says it
    reasons = [text for text in summary.reasons if text not in said]
    if kind != "live":
        return Answer(
            NEVER, f"This is a {kind} record.", "It is for looking at. It is never released or signed."
        )
    if state == "broken":
        return Answer(STOP, "No. The record doesn't hold.", problem or "It doesn't verify.", reasons, True)
    if state == "live":
        return Answer(NEVER, "The session is still running.", "Follow it on the board.", reasons)
    if state == "open":
        return Answer(STOP, "No. The session broke off.", "Its record was never sealed.", reasons, True)
    if decision and decision.decision == REJECTED:
        return Answer(REFUSED, "Not accepted.", _said(decision), reasons, True)
    if decision and decision.decision in (ACCEPTED, REMARK):
        words = "Accepted." if decision.decision == ACCEPTED else "Accepted with a remark."
        return Answer(DONE, words, _said(decision), reasons)
    if problem:
        return Answer(STOP, "No. The record can't be folded again.", problem, reasons, True)
    if summary.verdict != "complete":
        return Answer(STOP, "Not as it is.", _stopped(summary), reasons, True)
    before = (
        "It is released provisionally and waits for review. "
        if decision and decision.decision == PROVISIONAL
        else ""
    )
    if reasons:
        count = "1 thing departs" if len(reasons) == 1 else f"{len(reasons)} things depart"
        return Answer(
            LOOK,
            "Look first, then decide.",
            f"{before}The clean is complete, but {count} from the plan.",
            reasons,
            True,
        )
    return Answer(
        CLEAR,
        "Nothing stands against it.",
        f"{before}The clean is complete and followed the procedure throughout.",
    )


def _said(decision: Signed) -> str:
    more = f" Must happen: {decision.must_happen}" if decision.must_happen else ""
    return f"{decision.name}: {decision.reason or decision.meaning}{more}"


def _stopped(summary: Digest) -> str:
    left = len(summary.left_open)
    words = {
        "incomplete": "The clean ended incomplete",
        "stopped": "The clean was stopped",
        "left": "The enclosure was left before the end",
    }.get(summary.verdict, "The session has no verdict")
    open_words = f", with {left} thing{'s' if left > 1 else ''} left open" if left else ""
    return f"{words}{open_words}."
