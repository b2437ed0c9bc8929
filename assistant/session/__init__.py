"""The core: what was heard and when, turned into facts, and facts into a state. No clock, file or sound.

Where to look: `words` (what was said: is it allowed, and what does it do), `timing` (what falls due: drying, re-wets,
completions, limits), `order` (what comes next, and the way there), `troubles` (mishaps, breaks, devices, stops, what is
owed again), `asking` (what is said), `facts` (what can have happened), `changes` (what each fact changes).
Beside them: `decide` (the one entry), `modes` (the mode table), `state`, `inputs`. So a re-wet is decided in
`timing/due.py`, when it is due in `timing/timers.py`.
"""

from __future__ import annotations

from assistant.session.decide import decide
from assistant.session.evolve import evolve, fold
from assistant.session.initial import initial
from assistant.session.timing.timers import next_deadline_ms, thresholds
from assistant.session.words.allowed import allowed_words, expects, listened_for

__all__ = ["allowed_words", "decide", "evolve", "expects", "fold", "initial", "listened_for", "next_deadline_ms", "thresholds"]
