"""What a trainee answers beside the work. Anywhere but in practice it changes nothing."""

from __future__ import annotations

from assistant.session import inputs
from assistant.session.facts import practice
from assistant.session.state import FINAL_MODES
from assistant.session.turn import Turn


def recalled(turn: Turn, given: inputs.Recalled) -> None:
    """The answer to "what comes next?", for the record and the score."""
    if turn.state.kind == practice.PRACTICE and turn.state.mode not in FINAL_MODES:
        turn.emit(practice.NextRecalled(turn.now_ms, given.step, given.choices, given.right, given.chosen))
