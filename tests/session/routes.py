"""Sessions that pass, between them, through every cell of the mode table: by words, values, statements, breaks, time."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from assistant.language import vocabulary as w
from assistant.procedure.model import plan as p
from assistant.session import decide, evolve, inputs, next_deadline_ms
from tests.session.reach import PRESET, REACH
from tests.session.rich_plan import rich_plan
from tests.session.walk import Walk
from tests.session.wall_plan import look, wall, walls

ALL_WAIT = p.Step("wait", p.WAIT, "", wait_for=(p.ALL_CONTACTS,), reach="")
NOTE = p.Step("lot", p.NOTE, "Read the lot.", value_kind="lot", reach="")
GAUGE = p.Step(
    "gauge", p.READING, "Read the gauge.", value_kind="number", low="1", high="9", reach="", on_outside="stop",
)
POWER = "power_cut"  # asks which power
RECOVER = inputs.Recover(1_000, "crash")

# What is said into every mode at rest. Words that don't count there are refused, and the rest goes on.
ASIDES: tuple[tuple[object, ...], ...] = (
    (w.STOP, w.CANCEL), (w.PAUSE, w.RESUME), (w.TROUBLE, w.CANCEL), (POWER, w.COMPUTER), (POWER, POWER, w.CANCEL),
    (w.TROUBLE, POWER, w.CANCEL), (w.TROUBLE, w.STOP), (POWER, w.STOP), (w.TROUBLE, "torn_glove"), (POWER, "torn_glove"),
    (w.STOP, w.TROUBLE, w.CANCEL), (w.STOP, POWER, w.COMPUTER), (w.STOP, "torn_glove"), (w.STOP, w.CONFIRM),
    (w.PAUSE, w.TROUBLE, w.CANCEL), (w.PAUSE, POWER, w.COMPUTER), (w.PAUSE, w.STOP, w.CANCEL), (w.PAUSE, w.GO_BACK),
    ("torn_glove",), (w.GO_BACK,), (w.CORRECTION,), (w.SKIP, w.NO), (w.SKIP, w.CONFIRM), (w.NO,), (RECOVER,),
    (w.TROUBLE, RECOVER), (POWER, RECOVER), (w.STOP, RECOVER), (w.PAUSE, RECOVER),
    (RECOVER, w.TROUBLE, w.CANCEL), (RECOVER, POWER, w.COMPUTER), (RECOVER, w.STOP, w.CANCEL), (RECOVER, RECOVER),
)


def _bare() -> p.Plan:
    """Without branches: every mishap is answered all the same, and a fire ends the session at once."""
    return rich_plan(mishaps={m.id: m for m in rich_plan().mishaps.values() if m.word == POWER})


def _give(walk: Walk, *given: object, after: int = 500) -> Walk:
    for one in given:
        walk.after(after)
        walk.give(inputs.Word(one) if isinstance(one, str) else one)
    return walk


def _again(walk: Walk, plan: p.Plan | None = None) -> Walk:
    """The same session so far, to be gone on with in another way, by `plan` where given."""
    new = Walk.__new__(Walk)
    new.plan, new.state, new.facts, new.log = plan or walk.plan, walk.state, list(walk.facts), []
    new.now, new.watch = walk.now, None
    return new


def _until(walk: Walk, mode: str) -> Walk:
    """Everything is done as asked until the session rests in `mode`."""
    for _ in range(20):
        if walk.mode == mode:
            return walk
        walk.cooperate()
    raise AssertionError(f"never came to rest in {mode}; at {walk.step} in {walk.mode}")


def _wet_then(step: p.Step, *, lead: int = 10_000, **changes: object) -> Walk:
    """One wall wet since 10 s, to be wetted again from 30 s on (dry at 40 s), and `step` at hand."""
    walk = Walk(walls(wall("back", 60_000, 40_000, lead), step, look("end"), **changes))
    walk.say(w.CONFIRM, after=10_000)
    return walk


def _witness_over() -> Walk:
    """A step that is done and claimed, and waits for its witness."""
    return Walk(rich_plan(), options=PRESET).go("count", mode="witness")


def rests() -> dict[str, Walk]:
    """A session at rest in every mode that can be, the lone witness step and a paused one under a re-wet besides."""
    found = {mode: reach() for mode, reach in REACH.items() if mode not in ("complete", "incomplete", "stopped", "left")}
    found["witness alone"] = Walk(rich_plan(), options=PRESET).go("seen", mode="witness")
    paused = _wet_then(look())
    found["rewet over paused"] = _give(paused, w.PAUSE).at(30_000)
    found["second step"] = Walk(rich_plan(), options=PRESET).go("close-outer")
    return found


def asides() -> Iterator[Walk]:
    """Every aside said into every rest; and a fire there where the procedure has no branch for it."""
    for start in rests().values():
        for aside in ASIDES:
            walk = _again(start)
            yield _give(walk, *aside, after=0)
        walk = _again(start, replace(start.plan, mishaps=_bare().mishaps))
        yield _give(walk, w.FIRE, after=0)
        for over in ((w.PAUSE,), (w.STOP,), (w.TROUBLE,), (POWER,)):
            walk = _again(start, replace(start.plan, mishaps=_bare().mishaps))
            yield _give(walk, *over, w.FIRE, after=0)


def ends() -> Iterator[Walk]:
    """The four ends, a fire with a branch among them, and a stop that waited for a mishap's branch."""
    for mode in ("complete", "incomplete", "stopped", "left"):
        yield REACH[mode]()
    walk = Walk(rich_plan(), options=PRESET).go("open-outer")
    yield _until(_give(walk, w.STOP, "wipe_reused"), "stopping")


def branches() -> Iterator[Walk]:
    """A mishap's step taken back after its branch was left; a mishap between the questions after a break."""
    walk = Walk(rich_plan(), options=PRESET).go("wet-shelf")
    _give(walk, "torn_glove")
    yield _give(walk.go("wet-shelf"), w.CORRECTION)
    walk = Walk(rich_plan(), options=PRESET).go("open-outer")
    _give(walk, RECOVER, "wipe_reused")
    yield _until(walk, "recover")


def dried_beneath() -> Iterator[Walk]:
    """The surface at hand dries while something lies over its step: afterwards the step begins anew."""
    def at_wall(**more: object) -> Walk:
        return Walk(walls(wall("back", 60_000, 40_000, **more), look()))

    for over, back in ((w.PAUSE, w.RESUME), (w.TROUBLE, w.CANCEL), (POWER, w.COMPUTER), (w.STOP, w.CANCEL)):
        walk = _give(at_wall(), over).at(40_000)
        yield _give(walk, back)
    yield at_wall().at(40_000)
    yield _give(at_wall(policy=p.READ_BACK), w.CONFIRM).at(40_000)
    yield _give(at_wall(policy=p.WITNESSED), w.CONFIRM).at(40_000)
    walk = Walk(walls(wall("back", 60_000, 50_000, 20_000), wall("left", 60_000, 25_000), look()))
    walk.say(w.CONFIRM, after=10_000)  # the back is to be wetted again from 30 s on; the left is dry at 35 s
    yield _give(walk.at(35_000), w.REWETTED)


def over_rewets() -> Iterator[Walk]:
    """A re-wet over each kind of work; and work answered by a word that was over before the re-wet was asked for."""
    back = (look(policy=p.READ_BACK), look(policy=p.WITNESSED))
    for step, come in (
        (look(), ()), (NOTE, ()), (NOTE, (inputs.Value("AB12"),)), (back[0], (w.CONFIRM,)), (back[1], (w.CONFIRM,)),
        (ALL_WAIT, ()), (look(), (w.PAUSE,)),
    ):
        walk = _give(_wet_then(step), *come).at(30_000)
        for aside in ((w.REWETTED,), (w.PAUSE, w.RESUME), (w.STOP, w.CANCEL), (w.TROUBLE, w.CANCEL), (POWER, w.COMPUTER)):
            yield _give(_again(walk), *aside)
    two = walls(wall("back", 60_000, 40_000, 20_000), wall("left", 60_000, 40_000, 20_000), look())
    walk = Walk(two)
    walk.say(w.CONFIRM, after=2_000)
    walk.say(w.CONFIRM, after=2_000)
    yield walk.at(23_000)
    quick = look(impossible_ms=60_000)
    dated = p.Step("expiry", p.NOTE, "Read the date.", value_kind="date", not_before_today=True, reach="")
    for step, come, plan in (
        (quick, (), {}), (back[0], (), {}), (back[1], (), {}), (look(), (), {}),
        (dated, (inputs.Value("2001-01-01"),), {"today": "2026-03-01"}),
        (GAUGE, (inputs.Value("12"),), {}),
    ):
        walk = _give(_wet_then(step, **plan), *come).at(29_999)
        walk.now = 30_100
        walk.at(30_100)
        walk.give(inputs.Word(w.CONFIRM, 29_900, 29_999))
        yield _give(walk, w.CANCEL)


def out_of_waits() -> Iterator[Walk]:
    """A wait left for something owed meanwhile: the wall that dried, a wait before it, or what it needs first."""
    yield _wet_then(ALL_WAIT, lead=0).at(40_000)
    for first in (replace(GAUGE, after_wiping=True), p.Step("seen", p.WITNESS, "A colleague looks.", reach="", after_wiping=True)):
        needs = (p.Cond("step", first.id, "done"),)
        walk = Walk(walls(wall("back", 60_000, 40_000, requires=needs), ALL_WAIT, first, look("end")))
        walk.go("wait", gap=1_000).after(45_000)
        yield walk
    needs = (p.Cond("contact", "left", "complete"),)
    plan = walls(
        wall("back", 60_000, 40_000), wall("left", 300_000, 400_000), ALL_WAIT, look("end"), ask_after_dryings=2,
    )
    walk = Walk(plan).go("wait", gap=1_000)
    wet = replace(plan.steps[0], requires=needs)
    yield _again(walk, replace(plan, steps=(wet, *plan.steps[1:]))).after(45_000)


def dries_again() -> Iterator[Walk]:
    """A wall that dries time and again: asked about between two steps, or out of a wait."""
    for plan in (walls(wall("back", 60_000, 40_000), last, look("end"), ask_after_dryings=2) for last in (ALL_WAIT, look())):
        walk = Walk(plan)
        while walk.mode != "which":
            if not walk.state.contacts:
                walk.yes(1_000)  # wet; or the look that was at hand when it dried
            else:
                walk.at(next_deadline_ms(plan, walk.state))
        for aside in ((w.CANCEL,), (w.STOP, w.CANCEL)):
            yield _give(_again(walk), *aside)


def found_otherwise() -> Iterator[Walk]:
    """After a break the last confirmation turns out not to be true."""
    walk = REACH["recover"]()
    while not walk.state.questions[0].startswith("last:"):
        walk.yes(1_000)
    yield _give(walk, w.NO)


def values() -> Iterator[Walk]:
    """A value that can't be one, and one read back wrongly."""
    yield _give(_again(REACH["value"]()), inputs.Value("x"))
    yield _give(_again(REACH["value_back"]()), w.NO)


def torn() -> Iterator[Walk]:
    """A decision of which a crash left only the first facts: taken up between two steps."""
    walk = REACH["step"]()
    facts = decide(walk.plan, walk.state, inputs.Word(w.CONFIRM), walk.now + 5_000)
    for fact in facts:
        walk.state = evolve(walk.state, fact)
        walk.facts.append(fact)
        if walk.mode == "ready":
            break
    walk.now += 6_000
    new = _again(walk)
    yield _give(new, RECOVER, after=0)


ROUTES: tuple[Callable[[], Iterator[Walk]], ...] = (
    asides, ends, branches, dried_beneath, over_rewets, out_of_waits, dries_again, found_otherwise, values, torn,
)
