"""A surface behind a shut door is asked to be wetted again only when the door is open (common practice, no source:
nobody wipes through a shut door). If it dries before, it is owed, and the door is opened for it."""

from __future__ import annotations

from assistant.language import vocabulary as w
from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import load_procedure
from assistant.procedure.model import plan as p
from assistant.session import inputs
from assistant.session.facts import contacts, lines, machine, steps
from tests.session.walk import Walk
from tests.session.wall_plan import look, wall, walls

DOOR = {"door": p.Opening("door", "door", at_end="closed")}
NEEDS = (p.Cond("opening", "door", "open"),)


def _plan(*between: p.Step) -> p.Plan:
    """A wall behind a door, wet for 40 s of the 100 s it needs; the re-wet is due 15 s before it dries."""
    return walls(
        p.Step("open", p.OPEN, "Open the door.", opening="door"),
        wall("back", 100_000, 40_000, 15_000, requires=NEEDS), *between,
        p.Step("close", p.CLOSE, "Close the door.", opening="door"), look(), look("more"), openings=DOOR,
    )


def test_with_the_door_open_it_is_asked_for_in_time():
    walk = Walk(_plan(look("first")))
    walk.yes(1_000)  # the door is open; the first stroke counts from here
    walk.say(w.CONFIRM, after=10_000)
    assert walk.at(26_000).of(contacts.RewetAsked) and walk.mode == "rewet"


def test_with_the_door_shut_it_is_not_asked_for_and_dries_and_the_door_is_opened_for_it():
    walk = Walk(_plan())
    walk.yes(1_000)
    walk.say(w.CONFIRM, after=10_000)
    walk.yes(2_000)
    assert walk.state.openings["door"] == "closed"
    walk.at(40_999)
    assert not walk.of(contacts.RewetAsked) and not walk.of(contacts.SurfaceDried)
    walk.at(41_000)
    assert [f.due_ms for f in walk.of(contacts.SurfaceDried)] == [41_000]
    walk.yes(1_000)
    assert walk.step == "bridge:open:door"
    walk.yes(1_000)
    if walk.mode == "read_back":
        walk.yes(1_000)
    assert walk.step == "wet-back"


def test_one_laid_under_a_question_is_not_taken_up_again_behind_a_door_found_shut():
    walk = Walk(_plan(look("first")))
    walk.yes(1_000)
    walk.say(w.CONFIRM, after=10_000)
    walk.at(26_000)
    assert walk.mode == "rewet"
    walk.give(inputs.Recover(100, "crash"))
    while walk.mode == "recover":
        walk.say(w.NO if walk.state.questions[0] == "opening:door" else w.CONFIRM, after=200)
    begun = len(walk.facts)
    walk.after(1_000)
    assert walk.state.openings["door"] == "closed"
    assert not [f for f in walk.facts[begun:] if isinstance(f, contacts.RewetAsked | contacts.RewetResumed)]
    assert not any("again" in f.text for f in walk.facts[begun:] if isinstance(f, lines.LineSpoken) and f.role == lines.WARNING)


def test_the_airlock_wiped_slowly_is_wetted_again_only_through_the_open_door():
    walk = Walk(compile_plan(load_procedure("gb-2-light-clean")), options=(("drugs_differ", False), ("final_alcohol", False)))
    walk.go("load.wipe.airlock_walls")
    walk.say(w.CONFIRM, after=110_000)  # so slowly that the first stroke dries before the last has acted
    assert walk.finish() == "complete"
    at, late = "open", []
    wiped = 0
    for fact in walk.facts:
        if isinstance(fact, machine.OpeningMoved) and fact.opening == "outer_door":
            at = fact.to
        elif isinstance(fact, contacts.RewetAsked) and fact.surface.startswith("airlock"):
            late.append(at)
        elif isinstance(fact, steps.StepStarted) and fact.step == "load.wipe.airlock_walls":
            wiped += 1
    assert set(late) <= {"open"} and wiped >= 2
