"""The mode table, every cell of it: legal cells move as written, illegal ones are refused and change nothing."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path

import pytest

from assistant.session import evolve, initial
from assistant.session.facts import session, steps, troubles
from assistant.session.modes import MODES, TABLE, TRIGGERS, ModeRefused, diagram, machine, moved
from assistant.session.state import FINAL_MODES, Frame, State, changed
from tests.session.reach import REACH
from tests.session.small_plan import small_plan

LEGAL = {(source, trigger): dest for trigger, sources, dest in TABLE for source in sources}
ROOT = Path(__file__).resolve().parents[2]


def test_the_table_names_only_known_modes_and_each_trigger_once():
    assert len(TRIGGERS) == len(set(TRIGGERS))
    assert {mode for trigger, sources, dest in TABLE for mode in (*sources, dest)} <= set(MODES)


@pytest.mark.parametrize("mode", MODES)
def test_each_cell_moves_as_the_table_says_or_is_refused(mode: str):
    seen = 0
    for trigger in TRIGGERS:
        if (mode, trigger) in LEGAL:
            assert moved(mode, trigger) == LEGAL[mode, trigger]
        else:
            with pytest.raises(ModeRefused, match=f"can't {trigger} in mode {mode}; here it could be: "):
                moved(mode, trigger)
        seen += 1
    assert seen == len(TRIGGERS)


def test_a_look_up_leaves_nothing_behind_in_the_machine():
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
    assert not [cell for cell in LEGAL if cell[0] in FINAL_MODES]
    assert {dest for _, _, dest in TABLE} == set(MODES) - {"idle"}
    assert {source for source, _ in LEGAL} == set(MODES) - FINAL_MODES


@pytest.mark.parametrize("mode", MODES)
def test_a_fact_refused_by_the_table_leaves_every_field_of_the_state_as_it_was(mode: str):
    facts = (
        session.SessionBegun(5, "A", "script", "p", "1", "0", "e"), session.OptionAsked(5, "o"), session.Paused(5),
        session.OptionAnswered(5, "o", True), session.StopBegun(5, ()), steps.StepStarted(5, "wait", "", "wait"),
        steps.ReadBackAsked(5, "purge", "confirm", 1), steps.WitnessAsked(5, "purge", 1), steps.WaitEnded(5, "w", "", 1),
        steps.StepConfirmed(5, "purge", "", "single", 1, 1, "A", "keys"), steps.ValueHeard(5, "lot", "1"),
        steps.ValueDropped(5, "lot", "1", "no"), steps.CorrectionMade(5, "purge", "correction"),
        troubles.TroubleAsked(5), troubles.WhichAsked(5, "power", ()), troubles.BranchEntered(5, "torn"),
        troubles.BranchLeft(5, "torn"), troubles.Recovered(5, "crash", 1, ()), troubles.QuestionsResumed(5),
        *(session.VerdictReached(5, verdict) for verdict in sorted(FINAL_MODES)),
        *(session.Returned(5, to) for to in ("step", "wait", "option")),
    )
    state = changed(
        initial(small_plan()), mode=mode, current="purge", under=("step",), value="x", frames=(Frame(""), Frame("torn")),
    )
    before = {f.name: getattr(state, f.name) for f in fields(State)}
    refused = 0
    for fact in facts:
        try:
            evolve(state, fact)
        except ModeRefused:
            refused += 1
        assert {f.name: getattr(state, f.name) for f in fields(State)} == before, fact
    assert refused > 3


def test_every_mode_can_be_reached_by_real_inputs():
    assert set(REACH) == set(MODES) - {"idle", "ready"}  # ready is never at rest: something is asked at once
    for mode, reach in REACH.items():
        assert reach().mode == mode


def test_the_diagram_in_the_handbook_is_the_table():
    text = diagram()
    assert text.startswith("stateDiagram-v2") and "step --> paused: pause" in text
    handbook = ROOT / "assistant" / "handbook" / "core.md"
    block = handbook.read_text(encoding="utf-8").split("<!-- modes -->")[1]
    assert text in block, "run `python -m tests.support.mode_diagram` and put its output between the marks"
