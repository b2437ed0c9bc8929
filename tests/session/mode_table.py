"""The mode table a second time, written by hand from what may interrupt what, never read off the table under test."""

from __future__ import annotations

from collections.abc import Iterator

from assistant.session.evolve import evolve
from assistant.session.facts import contacts, session, steps, troubles
from assistant.session.facts.base import Fact
from assistant.session.initial import initial
from assistant.session.state import State
from tests.session.walk import Walk

# One line for each fact that moves the mode: its trigger > where that leads: every mode it can come in.
WRITTEN = """
begin > ready: idle
ask_option > option: ready
answer_option > ready: option
start_step > step: ready wait
start_value > value: ready wait
start_wait > wait: ready wait
start_witness > witness: ready wait
read_back > read_back: step value witness
ask_witness > witness: step
hear_value > value_back: value
drop_value > value: value value_back
finish_step > ready: step value_back read_back witness
restart_step > ready: step read_back witness
end_wait > ready: wait
ask_rewet > rewet: step value value_back read_back witness wait paused rewet
resume_rewet > rewet: ready step value value_back read_back witness
ask_trouble > trouble: option step value value_back read_back witness wait rewet paused stopping recover
ask_which > which: ready option step value value_back read_back witness wait rewet trouble which paused stopping recover
pause > paused: step value value_back read_back witness wait rewet
take_back > ready: step value witness wait rewet paused recover
enter_branch > ready: ready option step value value_back read_back witness wait rewet trouble which paused stopping recover
leave_branch > ready: ready
recover > recover: ready option step value value_back read_back witness wait rewet trouble which paused stopping recover
ask_again > recover: ready
begin_stop > stopping: ready option step value value_back read_back witness wait rewet trouble which paused recover
return_to_step > step: read_back witness rewet trouble which paused stopping
return_to_value > value: read_back rewet trouble which paused stopping
return_to_value_back > value_back: rewet trouble which paused stopping
return_to_read_back > read_back: rewet trouble which paused stopping
return_to_witness > witness: read_back rewet trouble which paused stopping
return_to_wait > wait: rewet trouble which paused stopping
return_to_rewet > rewet: trouble which paused stopping
return_to_paused > paused: rewet trouble which stopping
return_to_stopping > stopping: trouble which
return_to_option > option: trouble which stopping
return_to_recover > recover: trouble which stopping
return_to_ready > ready: rewet trouble which paused stopping recover
reach_complete > complete: ready
reach_incomplete > incomplete: ready
reach_stopped > stopped: stopping
reach_left > left: ready option step value value_back read_back witness wait rewet trouble which paused stopping recover
"""
# Only records of older rules hold these: there a stop lay over the question that it was said into, and went back to it.
WRITTEN_FORMER = """
return_to_trouble > trouble: stopping
return_to_which > which: stopping
"""


def _read(written: str) -> dict[tuple[str, str], str]:
    found = {}
    for line in written.strip().splitlines():
        head, sources = line.split(": ")
        trigger, dest = head.split(" > ")
        for source in sources.split():
            assert (source, trigger) not in found, line
            found[source, trigger] = dest
    return found


CELLS = _read(WRITTEN)
FORMER_CELLS = _read(WRITTEN_FORMER)


def trigger_of(fact: Fact, mode: str) -> str:
    """The trigger that a fact fires in a mode, "" for none."""
    match fact:
        case session.SessionBegun():
            return "begin"
        case session.OptionAsked():
            return "ask_option"
        case session.OptionAnswered():
            return "answer_option" if fact.given == "said" else ""
        case session.OptionTakenBack():
            return "answer_option" if mode == "option" else "take_back"
        case session.Paused():
            return "pause"
        case session.Returned():
            return f"return_to_{fact.to}"
        case session.StopBegun():
            return "begin_stop"
        case session.VerdictReached():
            return f"reach_{fact.verdict}"
        case steps.StepStarted():
            return f"start_{fact.mode}"
        case steps.ReadBackAsked():
            return "read_back"
        case steps.WitnessAsked():
            return "ask_witness"
        case steps.StepConfirmed() | steps.StepSkipped():
            return "finish_step"
        case steps.WaitEnded():
            return "end_wait"
        case steps.CorrectionMade():
            return "take_back"
        case steps.ValueHeard():
            return "hear_value"
        case steps.ValueDropped():
            return "drop_value"
        case contacts.RewetAsked():
            return "ask_rewet"
        case contacts.RewetResumed():
            return "resume_rewet" if fact.surfaces else ""
        case contacts.SurfaceDried():
            at_hand = fact.phase == "wetting" and mode in ("step", "read_back", "witness")
            return "restart_step" if at_hand else ""
        case troubles.TroubleAsked():
            return "ask_trouble"
        case troubles.WhichAsked():
            return "ask_which"
        case troubles.BranchEntered():
            return "enter_branch"
        case troubles.BranchLeft():
            return "leave_branch"
        case troubles.Recovered():
            return "recover"
        case troubles.QuestionsResumed():
            return "ask_again"
    return ""


def cells_of(walk: Walk) -> Iterator[tuple[str, str, str]]:
    """(mode, trigger, mode after) of every fact of a session that fires one."""
    state: State = initial(walk.plan)
    for fact in walk.facts:
        before, state = state, evolve(state, fact)
        if isinstance(fact, steps.ClaimDropped):
            trigger = f"return_to_{state.mode}" if before.mode != "step" else ""
        else:
            trigger = trigger_of(fact, before.mode)
        if trigger:
            yield before.mode, trigger, state.mode
        else:
            assert state.mode == before.mode, f"{fact} moves {before.mode} to {state.mode} without a trigger"
