"""The core: what was heard and when, turned into facts, and facts into a state. No clock, file or sound."""

from __future__ import annotations

from assistant.session.decide import decide
from assistant.session.evolve import evolve, fold
from assistant.session.initial import initial
from assistant.session.timing.timers import next_deadline_ms, thresholds
from assistant.session.words.allowed import allowed_words, expects, listened_for

__all__ = ["allowed_words", "decide", "evolve", "expects", "fold", "initial", "listened_for", "next_deadline_ms", "thresholds"]
