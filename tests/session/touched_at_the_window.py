"""A session in which the core puts in moves of the hands: a sleeve is touched while the hands are in the open window."""

from __future__ import annotations

from dataclasses import replace

from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import load_procedure
from tests.session.walk import Walk


def touched_at_the_window() -> Walk:
    """Walked to its end: the hands go from the window into the gauntlets, and back later."""
    walk = Walk(replace(compile_plan(load_procedure("gb-2-rigorous-clean")), today="2026-01-05"))
    walk.go("window_first.window_frame")
    walk.say("touched", after=1_000)
    walk.pick("left_sleeve")
    assert walk.finish() == "complete"
    return walk
