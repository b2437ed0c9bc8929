"""What was said and heard."""

from __future__ import annotations

from assistant.session.changes.base import on
from assistant.session.facts import lines
from assistant.session.state import State, changed

# Understood all right, only not acted on: these don't count as not having been understood.
UNDERSTOOD = frozenset(("while speaking", "not now", "said before the question", "no value was asked for"))
_MOST_OPEN = 100  # lines that may be on their way to the voice; more means that nobody reports their end


@on(lines.LineSpoken)
def spoken(state: State, fact: lines.LineSpoken) -> State:
    opened = state.open_lines
    if state.voice:
        opened = frozenset(n for n in opened if n > fact.line - _MOST_OPEN) | {fact.line}
    last = fact.text if fact.role in (lines.INSTRUCTION, lines.QUESTION) else state.last_text
    # A decision speaks after what it does.
    return changed(state, lines=fact.line, open_lines=opened, last_text=last, settling=())


@on(lines.LineEnded)
def ended(state: State, fact: lines.LineEnded) -> State:
    return changed(
        state, open_lines=state.open_lines - {fact.line}, quiet_ms=max(state.quiet_ms, min(fact.ended_ms, fact.at_ms))
    )


@on(lines.Heard)
def heard(state: State, fact: lines.Heard) -> State:
    if fact.accepted:
        return changed(state, misheard=0) if state.misheard else state
    if fact.reason in UNDERSTOOD:
        return state
    return changed(state, misheard=state.misheard + 1)


@on(lines.Announced)
def announced(state: State, fact: lines.Announced) -> State:
    return changed(state, announce=tuple(a for a in state.announce if a not in fact.ends))


@on(lines.MannerChanged)
def manner(state: State, fact: lines.MannerChanged) -> State:
    if fact.manner in ("brief", "full"):
        return changed(state, brief=fact.manner == "brief")
    return state
