"""After a crash, power cut or suspend: nothing that needed watching counts."""

from __future__ import annotations

from assistant.language.sentences import duration
from assistant.procedure.model import plan as p
from assistant.session import inputs
from assistant.session.facts import machine, session, troubles
from assistant.session.lookup import branch_steps, is_hazard
from assistant.session.order.openings import move_opening
from assistant.session.state import COMPLETE, FINAL_MODES, RUNNING, State
from assistant.session.troubles.owing import break_cycle, lost_contacts, owe, owed_steps
from assistant.session.turn import Turn
from assistant.session.words import corrections


def recover(turn: Turn, given: inputs.Recover) -> None:
    """Contacts are wetted again, running cycles start again, finished ones start again where something still needs
    them, openings and hands are asked about, and so is the last confirmation that still stands."""
    if turn.state.mode in FINAL_MODES:
        return
    plan, state = turn.plan, turn.state
    # Nobody lifts a tray while the assistant is away; one that was lifted may have been put back.
    questions = [f"opening:{o.id}" for o in plan.openings.values() if not o.lifts or state.openings.get(o.id) == "open"]
    questions += [f"hands:{place}" for place in places(plan, state)[:-1]]
    last = _last_standing(plan, state)
    if last:
        questions.append(f"last:{last}")
    unwatched = max(0, given.unwatched_ms)
    # A person, or what must stay inside, doesn't wait for them.
    after = next((at for at, frame in enumerate(state.frames) if is_hazard(plan, frame.branch)), 0)
    turn.emit(troubles.Recovered(turn.now_ms, given.why, unwatched, tuple(questions), after))
    turn.deviate("unwatched", given.why, turn.words("recovered", time=duration(plan.language, unwatched)))
    reason = turn.words("because_recovery")
    torn = _half_done(plan, state)
    owe(turn, [step.surface for step in torn], reason, frozenset(step.id for step in torn))
    lost_contacts(turn, list(turn.state.contacts), reason)
    for run in list(turn.state.cycles.values()):
        if run.status in (RUNNING, COMPLETE):
            break_cycle(turn, run.cycle, reason, used_up=True)
    _ask_or_go_on(turn)


def _half_done(plan: p.Plan, state: State) -> list[p.Step]:
    """The wet steps of a decision that the crash tore in two: confirmed without the contact that follows, or a contact
    voided without the step owed that follows."""
    lines_of_work = [branch_steps(plan, frame.branch) for frame in state.frames]
    return [s for line in lines_of_work for s in line if s.kind == p.WET and s.id in state.settling]


def places(plan: p.Plan, state: State) -> list[str]:
    """Where the hands can be in this procedure; where they were last, first."""
    lines_of_work = [plan.steps, *(m.steps for m in plan.mishaps.values())]
    used = {step.reach for steps in lines_of_work for step in steps} | {plan.start_hands, plan.end_hands}
    used |= {step.hands for steps in lines_of_work for step in steps} | {o.reach for o in plan.openings.values()}
    return [state.hands, *(place for place in p.REACHES if place in used and place != state.hands)]


def _last_standing(plan: p.Plan, state: State) -> str:
    """The last confirmation that the recovery itself doesn't take back, or ""."""
    torn = _half_done(plan, state)
    only = frozenset((*(c.step for c in state.contacts.values()), *(s.id for s in torn)))
    surfaces = frozenset((*state.contacts, *(s.surface for s in torn)))
    gone = {step for step, _ in owed_steps(plan, state, surfaces, "", only)}
    for frame in state.frames:
        for step in branch_steps(plan, frame.branch):
            run = state.cycles.get(step.cycle) if step.kind == p.CYCLE else None
            if run is not None and run.status == RUNNING:
                gone.add(step.id)
    for entry in reversed(state.confirmed):
        if entry not in gone and not entry.startswith(("rewet:", "skip:", "bridge:cycle:")):
            return entry
    return ""


def answer(turn: Turn, yes: bool) -> None:
    """A yes or no to the open question. No means the opposite was found, and it counts from here."""
    question = turn.state.questions[0]
    kind, subject = question.split(":", 1)
    turn.emit(troubles.RecoveryAnswered(turn.now_ms, question, yes))
    if kind == "opening" and not yes:
        move_opening(turn, subject, "closed" if turn.state.openings[subject] == "open" else "open")
    elif kind == "hands" and yes and subject != turn.state.hands:
        turn.emit(machine.HandsMoved(turn.now_ms, subject))
    elif kind == "hands" and not yes and not any(q.startswith("hands:") for q in turn.state.questions):
        # All places but one are denied.
        turn.emit(machine.HandsMoved(turn.now_ms, places(turn.plan, turn.state)[-1]))
    elif kind == "last" and not yes and subject in turn.state.confirmed:  # a mishap meanwhile may have undone it
        corrections.take_back(turn, "correction", subject)
        return
    _ask_or_go_on(turn)


def _ask_or_go_on(turn: Turn) -> None:
    if turn.state.questions and len(turn.state.frames) <= turn.state.question_depth:
        turn.ask()
    else:
        turn.emit(session.Returned(turn.now_ms, "ready"))
