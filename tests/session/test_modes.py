"""The mode table, every cell of it: the legal ones are passed through by real inputs and move as written by hand, the
others are refused and change nothing."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path

import pytest

from assistant.session import evolve, initial
from assistant.session.facts import contacts, session, steps, troubles
from assistant.session.facts.base import Fact
from assistant.session.modes import (
    FORMER,
    MODES,
    OPEN_MODES,
    TABLE,
    TRIGGERS,
    ModeRefused,
    diagram,
    machine,
    moved,
)
from assistant.session.state import FINAL_MODES, Contact, Frame, State, changed
from tests.session.mode_table import CELLS, FORMER_CELLS, cells_of, trigger_of
from tests.session.reach import REACH
from tests.session.routes import ROUTES
from tests.session.small_plan import small_plan

HANDBOOK = Path(__file__).resolve().parents[2] / "assistant" / "handbook" / "core.md"


def _cells(rows) -> dict[tuple[str, str], str]:
    return {(source, trigger): dest for trigger, sources, dest in rows for source in sources}


def test_the_table_is_what_is_written_by_hand():
    assert _cells(TABLE) == CELLS
    assert _cells(FORMER) == FORMER_CELLS
    assert len(TRIGGERS) == len(set(TRIGGERS))
    assert sum(len(sources) for _, sources, _ in TABLE) == len(CELLS)


def test_real_inputs_pass_through_every_legal_cell_and_through_no_other():
    passed: dict[tuple[str, str], str] = {}
    for route in ROUTES:
        for walk in route():
            for mode, trigger, after in cells_of(walk):
                assert CELLS.get((mode, trigger)) == after, f"{route.__name__}: {trigger} in {mode} leads to {after}"
                passed[mode, trigger] = after
    assert not CELLS.keys() - passed.keys()
    assert len(passed) == 195


@pytest.mark.parametrize("mode", MODES)
def test_each_cell_moves_as_written_or_is_refused(mode: str):
    legal = CELLS | FORMER_CELLS
    for trigger in TRIGGERS:
        if (mode, trigger) in legal:
            assert moved(mode, trigger) == legal[mode, trigger]
        else:
            with pytest.raises(ModeRefused, match=f"can't {trigger} in mode {mode}; here it could be: "):
                moved(mode, trigger)


def test_a_look_up_leaves_nothing_behind_in_the_machine():
    moved.cache_clear()
    before = {name: len(event.transitions) for name, event in machine().events.items()}
    for mode in MODES:
        for trigger in TRIGGERS:
            try:
                moved(mode, trigger)
            except ModeRefused:
                pass
    assert {name: len(event.transitions) for name, event in machine().events.items()} == before
    assert not machine().models


def test_an_unknown_trigger_is_refused():
    with pytest.raises(ModeRefused, match="no trigger 'wett'"):
        moved("step", "wett")


def test_final_modes_have_no_way_out_and_every_other_mode_can_be_reached_and_left():
    assert not [cell for cell in CELLS if cell[0] in FINAL_MODES]
    assert set(CELLS.values()) == set(MODES) - {"idle"}
    assert {source for source, _ in CELLS} == set(MODES) - FINAL_MODES


# A fact for each trigger. `restart_step` has none: where it can't be fired, the same fact means something else.
FIRING: tuple[Fact, ...] = (
    session.SessionBegun(5, "A", "script", "p", "1", "0", "e"), session.OptionAsked(5, "o"),
    session.OptionAnswered(5, "o", True), session.Paused(5), session.StopBegun(5, ()),
    *(steps.StepStarted(5, "purge", "", mode) for mode in ("step", "value", "wait", "witness")),
    steps.ReadBackAsked(5, "purge", "confirm", 1), steps.WitnessAsked(5, "purge", 1), steps.ValueHeard(5, "lot", "1"),
    steps.ValueDropped(5, "lot", "1", "no"), steps.StepConfirmed(5, "purge", "", "single", 1, 1, "A", "keys"),
    steps.WaitEnded(5, "w", "", 1), steps.CorrectionMade(5, "purge", "correction"),
    contacts.RewetAsked(5, "back"), contacts.RewetResumed(5, ("back",)),
    troubles.TroubleAsked(5), troubles.WhichAsked(5, "power", ()), troubles.BranchEntered(5, "torn"),
    troubles.BranchLeft(5, "torn"), troubles.Recovered(5, "crash", 1, ()), troubles.QuestionsResumed(5),
    *(session.VerdictReached(5, verdict) for verdict in sorted(FINAL_MODES)),
    *(session.Returned(5, to) for to in OPEN_MODES),
)


def test_there_is_a_fact_for_every_trigger():
    assert {trigger_of(fact, "step") for fact in FIRING} == set(TRIGGERS) - {"restart_step"}


@pytest.mark.parametrize("mode", MODES)
def test_a_fact_refused_by_the_table_leaves_every_field_of_the_state_as_it_was(mode: str):
    wet = Contact("back", "wet-back", "alcohol", 0, 60_000, 90_000, 40_000, asked_ms=3)
    state = changed(
        initial(small_plan()), mode=mode, current="purge", under=("step",), value="x", rewets=("back",),
        contacts={"back": wet}, frames=(Frame(""), Frame("torn")), stop_depth=1, before_rewet_ms=(1, 2),
    )
    before = {f.name: getattr(state, f.name) for f in fields(State)}
    legal = CELLS | FORMER_CELLS
    for fact in FIRING:
        trigger = trigger_of(fact, mode)
        if (mode, trigger) in legal:
            assert evolve(state, fact).mode == legal[mode, trigger], fact
        else:
            with pytest.raises(ModeRefused, match=trigger):
                evolve(state, fact)
        assert {f.name: getattr(state, f.name) for f in fields(State)} == before, fact


def test_every_mode_can_be_reached_by_real_inputs():
    assert set(REACH) == set(MODES) - {"idle", "ready"}  # ready is never at rest: something is asked at once
    for mode, reach in REACH.items():
        assert reach().mode == mode


def test_the_diagram_in_the_handbook_is_the_table():
    text = diagram()
    assert text.startswith("stateDiagram-v2") and "step --> paused: pause" in text
    block = HANDBOOK.read_text(encoding="utf-8").split("<!-- modes -->")[1]
    assert text in block, "run `python -m tests.support.mode_diagram` and put its output between the marks"
