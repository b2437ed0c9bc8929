"""A confirmation: is it plausible, must it be read back or witnessed, and what follows from it."""

from __future__ import annotations

from assistant.language.sentences import duration
from assistant.procedure.model import plan as p
from assistant.session import inputs
from assistant.session.asking import prompts
from assistant.session.facts import contacts, lines, machine, steps
from assistant.session.lookup import endangers_person, name_of, same_person
from assistant.session.order.openings import move_opening
from assistant.session.timing.timers import wet_ms_today
from assistant.session.troubles import mishaps, stopping
from assistant.session.troubles.owing import owe_way_out
from assistant.session.turn import Turn

_SHORTEST_PATCH_MS = 1_000  # whatever the surfaces need


def confirm_step(turn: Turn, ended_ms: int, source: str) -> None:
    """The word that confirms, in mode step: a check's yes included."""
    step, state = turn.step, turn.state
    if step.kind == p.PATCH and state.patch_since_ms < 0:
        turn.emit(contacts.PatchWetted(turn.now_ms, step.id, ended_ms))
        turn.ask(lines.INSTRUCTION)
        return
    took, least = ended_ms - state.since_ms, step.impossible_ms
    if step.kind == p.PATCH:
        took, least = ended_ms - state.patch_since_ms, max(least, _shortest_patch(turn.plan, step))
    if took < least and not state.questioned:
        turn.emit(steps.ClaimQuestioned(turn.now_ms, step.id, took, least))
        turn.speak(lines.QUESTION, turn.words("quick", time=duration(turn.plan.language, took)), step.id)
        return
    if step.policy == p.READ_BACK:
        turn.emit(steps.ReadBackAsked(turn.now_ms, step.id, "confirm", ended_ms))
        turn.ask()
    elif step.policy == p.WITNESSED:
        turn.emit(steps.WitnessAsked(turn.now_ms, step.id, ended_ms))
        turn.ask()
    else:
        finish(turn, step, ended_ms, source)


def _shortest_patch(plan: p.Plan, step: p.Step) -> int:
    """A patch that dried sooner (ms) is asked about once: more likely a slip of the tongue, or a second word for its
    being wet. Less than this, and no surface that it speaks of could be wetted again in time."""
    lies = plan.surfaces[step.surface].orientation if step.surface else ""
    needs = (
        min(s.wet_ms, min(s.lead_ms, s.contact_ms) + 1) for s in plan.steps
        if s.kind == p.WET and s.agent == step.agent and plan.surfaces[s.surface].orientation == lies
    )
    return max((_SHORTEST_PATCH_MS, *needs))


def confirm_read_back(turn: Turn, ended_ms: int, source: str) -> None:
    """The second word."""
    step = turn.step
    if turn.state.asked == "skip":
        turn.emit(steps.StepSkipped(turn.now_ms, step.id, turn.state.top.branch))
        turn.deviate("skipped", step.id, turn.words("skipped", step=step.brief or step.say))
        return
    finish(turn, step, ended_ms, source)


def drop_claim(turn: Turn) -> None:
    """The second word was no: nothing was confirmed, and what was timed goes on."""
    turn.emit(steps.ClaimDropped(turn.now_ms, turn.state.current))
    turn.speak(lines.ANSWER, turn.words("claim_dropped"), turn.state.current)


def drop_patch(turn: Turn) -> None:
    """The patch wasn't wet after all: the step begins anew."""
    step = turn.state.current
    turn.emit(steps.CorrectionMade(turn.now_ms, step, "correction"))
    turn.speak(lines.ANSWER, turn.words("claim_dropped"), step)


def witness(turn: Turn, given: inputs.Witness) -> None:
    """The second person's statement, from their own device. It counts only while one is asked for, from someone
    else than the technician, and with words of their own; else it is refused, and nothing is claimed on anyone's
    behalf."""
    state = turn.state
    own = same_person(given.person, state.person)
    if state.mode != "witness" or own or not given.person.strip() or not given.statement.strip():
        turn.emit(lines.NotNow(turn.now_ms, "witness", state.mode))
        if state.mode == "witness":
            turn.speak(lines.REFUSAL, turn.words("witness_ask"), state.current)
        return
    step = turn.step
    turn.emit(steps.WitnessGiven(turn.now_ms, step.id, given.person, given.statement))
    turn.speak(lines.ANSWER, turn.words("witness_thanks", person=given.person), step.id)
    finish(turn, step, turn.now_ms, "board")


def on_no(turn: Turn, step: p.Step, then: str, ended_ms: int, source: str) -> None:
    """What the site says follows when a check fails or a reading is outside its limits."""
    if then == "deviate":
        turn.deviate("check_no", step.id, turn.words("check_no_deviate") + " " + step.say)
        finish(turn, step, ended_ms, source, passed=False)
    elif then.startswith("mishap:"):
        mishaps.enter(turn, turn.plan.mishaps[then.removeprefix("mishap:")], ended_ms)
    elif then == "stop":
        stopping.begin_stop(turn)
    else:
        turn.speak(lines.INSTRUCTION, turn.words("check_no_again"), step.id)


def finish(turn: Turn, step: p.Step, ended_ms: int, source: str, *, passed: bool = True) -> None:
    """The step is confirmed as of `ended_ms`: the end of the word that settles it (the second one of a read back,
    the witness's statement), never sooner, so that no wait begins before it is sure that it may.

    What the technician claimed first says how long the work took, and how long a patch stayed wet.
    """
    state, plan = turn.state, turn.plan
    first_ms = state.claimed_ms if state.claimed_ms >= 0 else ended_ms
    took = max(0, first_ms - state.since_ms)
    if step.kind == p.CHECK and passed:
        turn.emit(steps.CheckAnswered(turn.now_ms, step.id, True))
    stroke = state.stroke_ms if state.stroke_ms >= 0 else state.since_ms
    patch_since = state.patch_since_ms
    turn.emit(
        steps.StepConfirmed(
            turn.now_ms, step.id, state.top.branch, step.policy, ended_ms, took, state.person, source,
            bool(step.floor_ms and took < step.floor_ms),
        )
    )
    if endangers_person(plan, state.top.branch) and step.reach == p.ROOM and p.ROOM not in (step.hands, state.hands):
        turn.emit(machine.HandsMoved(turn.now_ms, p.ROOM))  # nobody asked for them before the person's own step
    if step.kind == p.WET:
        _start_contact(turn, step, min(stroke, ended_ms), ended_ms)
        owe_way_out(turn, step)
    elif step.kind == p.PATCH:
        _take_patch(turn, step, max(0, first_ms - patch_since))
    elif step.kind == p.OPEN:
        move_opening(turn, step.opening, "open", min(first_ms, ended_ms))
    elif step.kind == p.CLOSE:
        move_opening(turn, step.opening, "closed")
    elif step.kind == p.MOVE:
        turn.emit(machine.HandsMoved(turn.now_ms, step.hands))
    elif step.kind == p.MACHINE:
        turn.emit(machine.MachineSet(turn.now_ms, step.machine, step.machine_value))
    elif step.kind == p.CYCLE:
        cycle = plan.cycles[step.cycle]
        turn.emit(machine.CycleStarted(turn.now_ms, cycle.id, ended_ms, ended_ms + cycle.duration_ms))
        left = ended_ms + cycle.duration_ms - turn.now_ms
        turn.speak(
            lines.ANSWER, turn.words("cycle_on", name=cycle.name, time=duration(plan.language, left)), cycle.id
        )


def _take_patch(turn: Turn, step: p.Step, measured: int) -> None:
    orientation = turn.plan.surfaces[step.surface].orientation if step.surface else ""
    wet = min(measured, step.wet_ms) if step.wet_ms else measured
    turn.emit(contacts.PatchDried(turn.now_ms, step.id, orientation, step.agent, measured, wet))
    turn.speak(lines.ANSWER, turn.words("patch_dry", time=duration(turn.plan.language, wet)), step.id)
    if any(_too_short(turn, s) for s in turn.plan.steps if s.kind == p.WET):
        turn.deviate("patch_short", step.id, turn.words("patch_short"))


def _too_short(turn: Turn, step: p.Step) -> bool:
    """Whether a surface dries today before it can be wetted again, so that its contact can't be kept."""
    wet = wet_ms_today(turn.plan, turn.state, step)
    return wet < step.wet_ms and wet <= step.lead_ms and wet <= step.contact_ms


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
    if turn.state.rewets:
        turn.speak(lines.WARNING, prompts.rewet(turn.plan, turn.state), turn.state.rewets[0])
