"""What is said first when somebody is hurt, and that no answer leads on past a hazard. Fifteen minutes of rinsing:
ANSI/ISEA Z358.1, from memory. A spilled hazardous drug is deactivated and decontaminated whatever was planned:
USP <800>, from memory. The rest: common practice, no source."""

from __future__ import annotations

import pytest

from assistant.language import vocabulary as words
from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import load_procedure, procedure_names
from assistant.procedure.model.plan import CYCLE, WET
from assistant.session.decide import decide
from assistant.session.evolve import evolve
from assistant.session.initial import initial
from assistant.session.inputs import Begin, Tick, Value, Word
from assistant.session.timing.timers import next_deadline_ms

NAMES = procedure_names()


def _plan(name):
    return compile_plan(load_procedure(name))


class Talk:
    """A session in the real core, from its start."""

    def __init__(self, plan):
        self.plan, self.state, self.now_ms, self.said = plan, initial(plan), 0, []
        self.give(Begin("tester", options=tuple((o.id, False) for o in plan.options)))

    def give(self, given, after_ms=1_000):
        """Returns what is said in answer."""
        self.now_ms += after_ms
        facts = decide(self.plan, self.state, given, self.now_ms)
        for fact in facts:
            self.state = evolve(self.state, fact)
        new = [fact.text for fact in facts if getattr(fact, "text", "")]
        self.said += new
        return " ".join(new)


@pytest.mark.parametrize("name", NAMES)
def test_a_splash_says_out_water_and_help_in_one_line_then_fifteen_minutes_are_counted(name):
    talk = Talk(_plan(name))
    first = talk.give(Word(words.MISHAPS[1]))
    assert words.MISHAPS[1] == "splash"
    for wanted in ("Take your hands out", "Rinse with water now", "Shout for help"):
        assert wanted in first
    for _ in range(4):
        talk.give(Word(words.CONFIRM))
    started = talk.state.cycles["rinse"].started_ms
    while talk.state.mode == "wait":
        talk.now_ms = max(talk.now_ms, next_deadline_ms(talk.plan, talk.state) or 0)
        talk.give(Tick(), 0)
    assert talk.now_ms - started >= 15 * 60_000


@pytest.mark.parametrize("name", NAMES)
def test_somebody_unwell_is_told_to_call_first(name):
    first = Talk(_plan(name)).give(Word("unwell"))
    assert "Call for help now. Take your hands out." in first and first.index("Call") < first.index("Sit")


@pytest.mark.parametrize("name", NAMES)
def test_fire_says_leave_before_anything_else_and_asks_for_nothing(name):
    talk = Talk(_plan(name))
    said = talk.give(Word("fire"))
    assert said.index("Leave now.") < said.index("Raise the alarm.") < said.index("door")
    assert talk.state.mode == "left"


def _spilled_glass(talk):
    """A spill with glass in it, up to the question about the glass."""
    talk.give(Word("spill"))
    for _ in range(4):
        if "free of broken glass" in talk.said[-1]:
            return
        talk.give(Word(words.CONFIRM))
    raise AssertionError(talk.said[-4:])


@pytest.mark.parametrize("name", [n for n in NAMES if n.startswith("gb-2")])
def test_glass_in_a_spill_is_lifted_with_the_scoop_before_the_pads_are_touched(name):
    talk = Talk(_plan(name))
    _spilled_glass(talk)
    answer = talk.give(Word(words.NO))
    assert "scoop into the sharps container" in answer and "pads" not in answer
    assert "gloves" in talk.give(Word(words.CONFIRM))
    assert "free of broken glass" in talk.give(Word(words.CONFIRM))  # asked again, not passed over
    assert "pads" in talk.give(Word(words.CONFIRM))


@pytest.mark.parametrize("name", NAMES)
def test_something_sharp_that_fell_is_lifted_with_the_scoop(name):
    talk = Talk(_plan(name))
    talk.give(Word("dropped_item"))
    assert "scoop into the sharps container" in talk.give(Word(words.NO))


@pytest.mark.parametrize("name", [n for n in NAMES if n.startswith("gb-2")])
def test_a_spilled_drug_is_decontaminated_whatever_was_answered_at_the_start(name):
    plan = _plan(name)
    branch = next(m for m in plan.mishaps.values() if m.word == "spill")
    if plan.purpose == "spill":
        named = {s for spoil in branch.spoils for s in spoil.surfaces}
        done = {s.surface for s in plan.steps if s.kind == WET and s.agent == "decontaminant" and not s.when}
        assert named and named <= done
        return
    talk = Talk(plan)
    _spilled_glass(talk)
    talk.give(Word(words.CONFIRM))
    assert "lot on the decontaminant pack" in talk.give(Word(words.CONFIRM))  # it comes into use here
    talk.give(Value("AB1234"))
    assert "expiry" in talk.give(Word(words.CONFIRM))
    talk.give(Value("2099-12-31"))
    assert "left tray with decontaminant" in talk.give(Word(words.CONFIRM))


@pytest.mark.parametrize("name", NAMES)
def test_a_spare_pack_has_its_lot_and_expiry_asked_before_it_is_opened(name):
    branch = next(m for m in _plan(name).mishaps.values() if m.word == "agent_out")
    kinds = [s.value_kind for s in branch.steps]
    assert kinds.index("lot") < kinds.index("date") < [s.id.rpartition(".")[2] for s in branch.steps].index("open_spare")


@pytest.mark.parametrize("name", NAMES)
def test_rinsing_a_person_is_broken_by_nothing_at_the_enclosure(name):
    rinse = _plan(name).cycles["rinse"]
    assert rinse.duration_ms == 15 * 60_000 and rinse.broken_by == () and rinse.broken_by_openings == ()
    steps = next(m for m in _plan(name).mishaps.values() if m.word == "splash").steps
    assert any(s.kind == CYCLE and s.cycle == "rinse" for s in steps[:2])
