"""Faults planted in the core, one at a time. Each must be caught by some check; which one is part of the answer."""

from __future__ import annotations

import inspect
from collections.abc import Callable

import pytest

from tests.session import (
    test_confirmation,
    test_every_word,
    test_mishaps,
    test_naive_agrees,
    test_recovery,
    test_rewet_through_doors,
    test_windows,
)
from tests.session.invariants import Broken
from tests.session.naive.compare import random_session
from tests.session.planting import Fault, planted
from tests.session.rich_plan import rich_plan

FAULTS = (
    Fault("a contact is half a second short", "words.confirming", "_start_contact", "wet_since_ms + step.contact_ms",
          "wet_since_ms + step.contact_ms - 500"),
    Fault("a contact counts from the first stroke", "words.confirming", "_start_contact", "complete = wet_since_ms +",
          "complete = stroke_ms +"),
    Fault("drying counts from the confirmation", "words.confirming", "_start_contact", "dries = stroke_ms +",
          "dries = wet_since_ms +"),
    Fault("a read back counts from the first word", "words.confirming", "finish", "min(stroke, ended_ms), ended_ms)",
          "min(stroke, first_ms), first_ms)"),
    Fault("at equality no re-wet is asked for", "words.confirming", "rewet_at", "dries_ms <= complete_ms", "dries_ms < complete_ms"),
    Fault("a re-wet dries from its confirmation", "words.confirming", "confirm_rewet", "dries = stroke +", "dries = ended_ms +"),
    Fault("a re-wet credits the last asked for", "words.confirming", "confirm_rewet", "turn.state.rewets[0]\n    contact",
          "turn.state.rewets[-1]\n    contact"),
    Fault("a cycle is a tenth short", "words.confirming", "finish", "ended_ms, ended_ms + cycle.duration_ms))",
          "ended_ms, ended_ms + cycle.duration_ms * 9 // 10))"),
    Fault("deadlines come a millisecond late", "timing.due", "pass_time", "t.at_ms <= turn.now_ms", "t.at_ms < turn.now_ms"),
    Fault("a surface that dried isn't owed", "timing.due", "_dried",
          'lost_contacts(turn, [surface], turn.words("because_dried"))', "lost_contacts(turn, [], '')"),
    Fault("drying is silent", "timing.due", "_dried", 'turn.deviate("dried_contact", surface, turn.words("dried_contact", name=name), f"dried:{surface}" if later else "")',
          'turn.emit(__import__("assistant.session.facts.troubles", fromlist=["x"]).Deviation(turn.now_ms, "dried_contact", surface, "x"))'),
    Fault("the patch may lengthen the wet time", "timing.timers", "wet_ms_today", "min(measured, step.wet_ms)", "max(measured, step.wet_ms)"),
    Fault("a re-wet is asked for whatever the hands do", "lookup", "in_reach", 'step.reach in ("", state.hands) and ', ""),
    Fault("a re-wet is asked for through a shut door", "lookup", "in_reach",
          'all(state.openings.get(c.subject, "closed") == c.value for c in ways)', "True"),
    Fault("a limit never ends", "timing.timers", "_limits", "out.append(Threshold(due, LIMIT_MISSED, limit))", "pass"),
    Fault("what is spoiled stays finished", "troubles.mishaps", "enter", "owe(turn, spoiled, mishap.title)", "owe(turn, (), mishap.title)"),
    Fault("an alarm breaks no finished cycle", "troubles.mishaps", "enter", "break_cycle(turn, cycle.id, mishap.title)",
          "break_cycle(turn, cycle.id, mishap.title, used_up=True)"),
    Fault("a spill reaches nothing below", "troubles.mishaps", "_reach", "s.height > at.height", "s.height > 99"),
    Fault("what ended after the mishap was said counts", "troubles.mishaps", "_reach", "if due > at_ms", "if False"),
    Fault("a touch forgets the finished ones", "troubles.mishaps", "candidates", "word != w.DRY_SURFACE or not found", "not found"),
    Fault("time nobody watched completes waits", "decide", "decide", "if not isinstance(given, inputs.Recover):", "if True:"),
    Fault("a key answers what came up under it", "decide", "decide", "turn.overtaken = turn.asked_anew", "pass"),
    Fault("contacts survive a break", "troubles.recovery", "recover", "lost_contacts(turn, list(turn.state.contacts), reason)", "pass"),
    Fault("cycles survive a break", "troubles.recovery", "recover", "if run.status in (RUNNING, COMPLETE):", "if False:"),
    Fault("a denied opening stays as it was", "troubles.recovery", "answer", 'if kind == "opening" and not yes:', "if False:"),
    Fault("a voice over the assistant confirms", "words.talk", "over_speech", 'return source == "voice" and', "return False and"),
    Fault("an old word answers a new question", "words.talk", "too_old", "started_ms < turn.state.entered_ms", "False"),
    Fault("a refused word acts all the same", "words.talk", "word", "if not allowed:", "if False:"),
    Fault("the technician is their own witness", "words.confirming", "witness",
          "own = same_person(given.person, state.person)", "own = False"),
    Fault("a step left out is forgotten", "changes.steps", "skipped", "skipped=top.skipped | {fact.step}", "done=top.done | {fact.step}"),
    Fault("a step left out of a branch is forgotten", "changes.troubles", "branch_left", "kept[0].skipped | left.skipped", "kept[0].skipped"),
    Fault("a correction forgets what hung on it", "words.corrections", "take_back", "_undo(turn, step, reason)", "pass"),
    Fault("interlocks are not asked for", "order.bridging", "conditions", "if step.opening in group:", "if False:"),
    Fault("opening a door breaks no cycle", "order.openings", "move_opening", "opening not in cycle.broken_by_openings or run is None", "True"),
    Fault("a stop is forgotten over a mishap", "order.settle", "_next", "if state.stop_depth and depth <= state.stop_depth:", "if False:"),
    Fault("an open run is called complete", "troubles.stopping", "end", 'if verdict == "complete" and left:', "if False:"),
)


def _scenarios(module) -> list[tuple[str, Callable[[], None]]]:
    """The module's tests that need no argument, by name."""
    name = module.__name__.rsplit(".", 1)[-1]
    return [
        (f"{name}: {test}", function)
        for test, function in vars(module).items()
        if test.startswith("test_") and callable(function) and not inspect.signature(function).parameters
    ]


def _naive(seeds: range) -> Callable[[], None]:
    def check() -> None:
        plan = rich_plan()
        for seed in seeds:
            assert not random_session(plan, seed, most=120).differences()

    return check


def _end_without_waits() -> None:
    """A run that leaves its waits out can't be called complete by the end itself."""
    from assistant.session.troubles.stopping import end, left_open
    from assistant.session.turn import Turn
    from tests.session.walk import Walk
    from tests.session.wall_plan import look, wall, walls

    walk = Walk(walls(wall("back", 60_000, 90_000), look()))
    turn = Turn(walk.plan, walk.state, walk.now)
    from assistant.session.facts import steps

    turn.emit(steps.StepConfirmed(0, "wet-back", "", "single", 0, 0, "A", "keys"))
    end(turn, "complete")
    assert left_open(walk.plan, walk.state) and turn.state.verdict == "incomplete"


CHECKS = (
    *(s for m in (test_windows, test_confirmation, test_mishaps, test_recovery, test_rewet_through_doors) for s in _scenarios(m)),
    ("test_mishaps: stop, mishap", lambda: test_mishaps.test_a_mishap_or_a_break_while_stopping_doesnt_make_it_forget_the_stop(
        "wipe_reused")),
    ("an end is judged by what is left", _end_without_waits),
    ("the naive model, 40 sessions", _naive(range(40))),
)


def _what_catches(fault: Fault) -> str:
    with planted(fault):
        for name, check in CHECKS:
            try:
                check()
            except Broken as broken:
                return f"invariant: {broken} (in {name})"
            except (AssertionError, RuntimeError, KeyError, IndexError, ValueError, NameError) as error:
                return f"{name} ({type(error).__name__})"
    return ""


def test_there_are_enough_faults_and_all_checks_hold_without_one():
    assert len(FAULTS) >= 20 and len({f.what for f in FAULTS}) == len(FAULTS)
    assert len(CHECKS) > 80
    for _, check in CHECKS[:-1]:
        check()


@pytest.mark.parametrize("fault", FAULTS, ids=lambda f: f.what.replace(" ", "-"))
def test_each_planted_fault_is_caught(fault: Fault, record_property):
    caught = _what_catches(fault)
    record_property("caught by", caught)
    assert caught, f"nothing caught: {fault.what}"


def test_the_naive_model_alone_catches_most_of_them():
    """The second model must not be a bystander: without any hand-written scenario it finds these."""
    names = ("a contact counts from the first stroke", "drying counts from the confirmation", "contacts survive a break",
             "what is spoiled stays finished", "a correction forgets what hung on it")
    for fault in FAULTS:
        if fault.what not in names:
            continue
        with planted(fault), pytest.raises((AssertionError, RuntimeError, KeyError)):
            _naive(range(60))()


def test_a_fault_is_gone_afterwards():
    before = test_naive_agrees.random_session(rich_plan(), 3, most=60).differences()
    assert before == [] and test_every_word.OPEN
