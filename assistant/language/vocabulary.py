"""The closed set of commands the core knows. How each is said is a matter of language packs (`hearing`)."""

from __future__ import annotations

CONFIRM, NO, STARTED, SKIP, CANCEL = "confirm", "no", "started", "skip", "cancel"
REWETTED = "rewetted"  # a surface asked to be wetted again is: never `confirm`, which speaks of the step at hand
REPEAT, HOW_LONG, STILL_WET, WHERE, WHATS_NEXT, WHY, HELP = (
    "repeat", "how_long", "still_wet", "where", "whats_next", "why", "help",
)
BRIEF, FULL, SLOWER, LOUDER = "brief", "full", "slower", "louder"
PAUSE, RESUME, GO_BACK, CORRECTION, TROUBLE, STOP, KEYS = (
    "pause", "resume", "go_back", "correction", "trouble", "stop", "keys",
)
COMPUTER, ENCLOSURE = "computer", "enclosure"  # answers to "which power went?"

QUESTIONS = (REPEAT, HOW_LONG, STILL_WET, WHERE, WHATS_NEXT, WHY, HELP)
MANNERS = (BRIEF, FULL, SLOWER, LOUDER)

DRY_SURFACE, HAND_OVER, FIRE = "dry_surface", "hand_over", "fire"

# Words that name what went wrong. A procedure's mishap branches hang on these.
MISHAPS = (
    "torn_glove", "splash", "spill", "pressure_alarm", "power_cut", "dropped_item", DRY_SURFACE,
    "wipe_reused", "agent_out", "unwell", HAND_OVER, FIRE, "touched",
)

ALL = frozenset(
    (CONFIRM, NO, STARTED, REWETTED, SKIP, CANCEL, PAUSE, RESUME, GO_BACK, CORRECTION, TROUBLE, STOP, KEYS,
     COMPUTER, ENCLOSURE, *QUESTIONS, *MANNERS, *MISHAPS)
)

# Words that change what the record claims was done; hearing holds them to the strictest bar.
CONFIRMING = frozenset((CONFIRM, STARTED, REWETTED))
# Harmless words: only an answer follows, so they may be decided quickly.
HARMLESS = frozenset((*QUESTIONS, *MANNERS))
