"""Everything said and heard in a session, in order: what a replay shows beside the cursor, and what can be heard."""

from __future__ import annotations

from dataclasses import dataclass

from assistant.account.telling import heard_words
from assistant.review.session.opened import Opened
from assistant.session.facts.lines import Heard, LineEnded, LineSpoken


@dataclass
class SaidRow:
    """One line of speech or one utterance. `line`: of the record; `clip`: hash of what was heard, or "";
    `reason`: why it was refused, or ""."""

    line: int
    by_assistant: bool
    started_ms: int
    ended_ms: int
    text: str
    reason: str = ""
    clip: str = ""
    cut: bool = False


def said_rows(opened: Opened) -> list[SaidRow]:
    """By the moment each began to sound. A line that never sounded stands where it was decided."""
    found: list[SaidRow] = []
    speaking: dict[int, SaidRow] = {}
    for fact, line in zip(opened.facts, opened.lines, strict=True):
        if isinstance(fact, LineSpoken):
            row = SaidRow(line, True, fact.at_ms, fact.at_ms, fact.text)
            speaking[fact.line] = row
            found.append(row)
        elif isinstance(fact, LineEnded) and fact.line in speaking:
            row = speaking.pop(fact.line)
            row.started_ms, row.ended_ms, row.cut = fact.started_ms, fact.ended_ms, fact.interrupted
        elif isinstance(fact, Heard):
            text = heard_words(opened.plan, fact)
            reason = "" if fact.accepted else fact.reason or "not understood"
            found.append(SaidRow(line, False, fact.started_ms, fact.ended_ms, text, reason, fact.clip_sha256))
    found.sort(key=lambda row: row.started_ms)
    return found
