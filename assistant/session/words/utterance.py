"""When something was said, and whether it can count: over a line, or before what is asked now, it doesn't."""

from __future__ import annotations

from assistant.session import inputs
from assistant.session.turn import Turn


def heard_span(turn: Turn, given: inputs.Word | inputs.Value | inputs.Misheard) -> tuple[int, int]:
    """When an utterance began and ended (ms), neither later than now; a key has no length."""
    ended = turn.now_ms if given.ended_ms is None else max(0, min(given.ended_ms, turn.now_ms))
    started = ended if given.started_ms is None else max(0, min(given.started_ms, ended))
    return started, ended


def over_speech(turn: Turn, source: str, started_ms: int) -> bool:
    """Whether a voice at the microphone spoke while the assistant did: then it counts for nothing."""
    return source == "voice" and (bool(turn.state.open_lines) or started_ms < turn.state.quiet_ms)


def too_old(turn: Turn, started_ms: int) -> bool:
    """Whether an answer was begun before what is asked now was asked."""
    return turn.overtaken or started_ms < turn.state.entered_ms
