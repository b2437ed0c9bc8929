"""A confirmation: is it plausible, must it be read back or witnessed, and what follows from it."""

from __future__ import annotations

from assistant.procedure import plan as p
from assistant.session import inputs
from assistant.session.facts import contacts, lines, machine, steps
from assistant.session.lookup import name_of, step_of
from assistant.session.owing import move_opening
from assistant.session.timers import wet_ms_today
from assistant.session.turn import Turn
from assistant.session.wording import duration


def confirm_step(turn: Turn, ended_ms: int, source: str) -> None:
    """The word that confirms, in mode step."""
    step = step_of(turn.plan, turn.state)
    if step.kind == p.PATCH and turn.state.patch_since_ms < 0:
        turn.emit(contacts.PatchWetted(turn.now_ms, step.id, ended_ms))
        turn.speak(lines.INSTRUCTION, turn.words("patch_wet"), step.id)
        return
    took = ended_ms - turn.state.since_ms
    if step.impossible_ms and took < step.impossible_ms and not turn.state.questioned:
        turn.emit(steps.ClaimQuestioned(turn.now_ms, step.id, took, step.impossible_ms))
        turn.speak(lines.QUESTION, turn.words("quick", time=duration(turn.plan.language, took)), step.id)
        return
    if step.policy == p.READ_BACK:
        turn.emit(steps.ReadBackAsked(turn.now_ms, step.id, "confirm", ended_ms))
        claim = step.claim
        text = turn.words("read_back", claim=claim) if claim else turn.words("read_back_plain")
        turn.speak(lines.QUESTION, text, step.id)
    elif step.policy == p.WITNESSED:
        ask_witness(turn, step.id, ended_ms)
    else:
        finish(turn, step, ended_ms, source)


def ask_witness(turn: Turn, step_id: str, claimed_ms: int) -> None:
    """A second person is needed now."""
    turn.emit(steps.WitnessAsked(turn.now_ms, step_id, claimed_ms))
    turn.speak(lines.QUESTION, turn.words("witness_ask"), step_id)


def confirm_read_back(turn: Turn, source: str) -> None:
    """The second word."""
    step = step_of(turn.plan, turn.state)
    if turn.state.asked == "skip":
        turn.emit(steps.StepSkipped(turn.now_ms, step.id, turn.state.top.branch))
        return
    finish(turn, step, turn.state.claimed_ms, source)


def drop_claim(turn: Turn) -> None:
    """The second word was no: nothing was confirmed, and what was timed goes on."""
    turn.emit(steps.ClaimDropped(turn.now_ms, turn.state.current))
    turn.speak(lines.ANSWER, turn.words("claim_dropped"), turn.state.current)


def witness(turn: Turn, given: inputs.Witness) -> None:
    """The second person's statement, from their own device. Ignored unless one is asked for, from the
    technician themself, or empty: then nothing is claimed on anyone's behalf."""
    if turn.state.mode != "witness" or given.person == turn.state.person or not given.statement.strip():
        return
    step = step_of(turn.plan, turn.state)
    turn.emit(steps.WitnessGiven(turn.now_ms, step.id, given.person, given.statement))
    turn.speak(lines.ANSWER, turn.words("witness_thanks", person=given.person), step.id)
    claimed = turn.state.claimed_ms if turn.state.claimed_ms >= 0 else turn.now_ms
    finish(turn, step, claimed, "board")


def answer_check(turn: Turn, yes: bool, ended_ms: int, source: str) -> None:
    """A yes/no step answered."""
    step = step_of(turn.plan, turn.state)
    if yes:
        # Read back or witness, as for any confirmation; the answer is recorded when it counts.
        confirm_step(turn, ended_ms, source)
        return
    turn.emit(steps.CheckAnswered(turn.now_ms, step.id, False))
    on_no(turn, step, step.on_no, ended_ms, source)


def on_no(turn: Turn, step: p.Step, then: str, ended_ms: int, source: str) -> None:
    """What the site says follows when a check fails or a reading is outside its limits."""
    from assistant.session import mishaps, stopping  # they confirm in turn

    if then == "deviate":
        turn.deviate("check_no", step.id, turn.words("check_no_deviate") + " " + step.say)
        finish(turn, step, ended_ms, source)
    elif then.startswith("mishap:"):
        mishaps.enter(turn, turn.plan.mishaps[then.removeprefix("mishap:")], ended_ms)
    elif then == "stop":
        stopping.begin_stop(turn)
    else:
        turn.speak(lines.INSTRUCTION, turn.words("check_no_again"), step.id)


def finish(turn: Turn, step: p.Step, claimed_ms: int, source: str) -> None:
    """The step is confirmed as of `claimed_ms`, the end of the word: never later in favour of completion,
    never earlier than it was said."""
    state = turn.state
    took = max(0, claimed_ms - state.since_ms)
    if step.kind == p.CHECK and source and step.on_no != "deviate":
        turn.emit(steps.CheckAnswered(turn.now_ms, step.id, True))
    stroke = state.stroke_ms if state.stroke_ms >= 0 else state.since_ms
    patch_since = state.patch_since_ms
    branch = state.top.branch
    turn.emit(
        steps.StepConfirmed(
            turn.now_ms, step.id, branch, step.policy, claimed_ms, took, state.person, source,
            bool(step.floor_ms and took < step.floor_ms),
        )
    )
    if step.kind == p.WET:
        _start_contact(turn, step, stroke, claimed_ms)
    elif step.kind == p.PATCH:
        measured = claimed_ms - patch_since
        orientation = turn.plan.surfaces[step.surface].orientation if step.surface else ""
        wet = min(measured, step.wet_ms) if step.wet_ms else measured
        turn.emit(contacts.PatchDried(turn.now_ms, step.id, orientation, step.agent, measured, wet))
        turn.speak(lines.ANSWER, turn.words("patch_dry", time=duration(turn.plan.language, wet)), step.id)
    elif step.kind == p.OPEN:
        move_opening(turn, step.opening, "open")
    elif step.kind == p.CLOSE:
        move_opening(turn, step.opening, "closed")
    elif step.kind == p.MOVE:
        turn.emit(machine.HandsMoved(turn.now_ms, step.hands))
    elif step.kind == p.MACHINE:
        turn.emit(machine.MachineSet(turn.now_ms, step.machine, step.machine_value))
    elif step.kind == p.CYCLE:
        cycle = turn.plan.cycles[step.cycle]
        turn.emit(machine.CycleStarted(turn.now_ms, cycle.id, claimed_ms, claimed_ms + cycle.duration_ms))
        turn.speak(
            lines.ANSWER,
            turn.words("cycle_on", name=cycle.name, time=duration(turn.plan.language, cycle.duration_ms)), cycle.id,
        )


def _start_contact(turn: Turn, step: p.Step, stroke_ms: int, wet_since_ms: int) -> None:
    complete = wet_since_ms + step.contact_ms
    dries = stroke_ms + wet_ms_today(turn.plan, turn.state, step)
    turn.emit(
        contacts.ContactStarted(
            turn.now_ms, step.surface, step.id, step.agent, stroke_ms, wet_since_ms, complete, dries,
            rewet_at(dries, complete, step.lead_ms),
        )
    )
    if not turn.state.brief:
        name = name_of(turn.plan, step.surface)
        time = duration(turn.plan.language, complete - turn.now_ms)
        turn.speak(lines.ANSWER, turn.words("contact_on", name=name, time=time), step.surface)


def rewet_at(dries_ms: int, complete_ms: int, lead_ms: int) -> int:
    """When to ask for re-wetting, or 0 where the surface stays wet until its time is over. At equality it
    dries first, so it must be asked for."""
    return max(1, dries_ms - lead_ms) if dries_ms <= complete_ms else 0


def confirm_rewet(turn: Turn, ended_ms: int) -> None:
    """The surface asked for first is wet again. It counts from this confirmation. Its drying counts from the
    said first stroke, or else from when the re-wet was asked for: the corner wetted first dries first."""
    surface = turn.state.rewets[0]
    contact = turn.state.contacts[surface]
    step = turn.plan.step(contact.step)
    stroke = contact.stroke_again_ms if contact.stroke_again_ms >= 0 else contact.asked_ms
    dries = stroke + wet_ms_today(turn.plan, turn.state, step)
    turn.emit(
        contacts.RewetConfirmed(
            turn.now_ms, surface, ended_ms, stroke, dries, rewet_at(dries, contact.complete_at_ms, step.lead_ms)
        )
    )
    turn.speak(lines.ANSWER, turn.words("rewet_done", name=name_of(turn.plan, surface)), surface)


