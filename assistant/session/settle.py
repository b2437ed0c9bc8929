"""After every input: say what may be announced, end waits that are over, and find the next thing to do."""

from __future__ import annotations

from assistant.procedure import plan as p
from assistant.session import mishaps, stopping
from assistant.session.bridges import WAIT_ALL, bridge_step, is_bridge
from assistant.session.bridging import met, ready_step
from assistant.session.facts import lines, session, steps
from assistant.session.lookup import branch_steps, holds, name_of, step_of, wait_left, wait_over, waited_surfaces
from assistant.session.starting import next_option
from assistant.session.state import FINAL_MODES, RUNNING
from assistant.session.turn import Turn
from assistant.session.wording import duration, listed

_MOST = 200  # steps that end by themselves in a row; more is a fault of ours


def settle(turn: Turn) -> None:
    """Bring the session to rest: it ends in a mode that waits for a person or for time."""
    for _ in range(_MOST):
        state = turn.state
        if state.mode in FINAL_MODES or state.mode == "idle":
            break
        if state.mode == "rewet" and not state.rewets:
            _return(turn)
        elif state.mode == "wait" and _wait_is_over(turn):
            continue
        elif state.mode == "ready":
            _announce(turn)
            _next(turn)
        else:
            _announce(turn)
            return
    else:
        raise RuntimeError("the session doesn't come to rest")


def _return(turn: Turn) -> None:
    from assistant.session.talk import return_line

    turn.emit(session.Returned(turn.now_ms, turn.state.under[-1]))
    return_line(turn)


def _announce(turn: Turn) -> None:
    """Say what is ready, bundled, never over a line that is sounding."""
    state = turn.state
    if not state.announce or state.open_lines:
        return
    soon = turn.now_ms + turn.plan.bundle_ms
    if any(c.complete_at_ms <= soon and c.dries_at_ms > c.complete_at_ms for c in state.contacts.values()):
        return  # another one follows at once: one line for both
    say_ready(turn)


def say_ready(turn: Turn) -> None:
    """Announce every end that hasn't been said yet."""
    waiting = turn.state.announce
    surfaces = [name_of(turn.plan, s) for s in waiting if not s.startswith("cycle:")]
    cycles = [name_of(turn.plan, s) for s in waiting if s.startswith("cycle:")]
    turn.emit(lines.Announced(turn.now_ms, waiting))
    if surfaces:
        text = turn.words("ready", names=listed(turn.plan.language, surfaces))
        turn.speak(lines.ANNOUNCEMENT, text[:1].upper() + text[1:])
    for name in cycles:
        text = turn.words("cycle_over", name=name)
        turn.speak(lines.ANNOUNCEMENT, text[:1].upper() + text[1:])


def _wait_is_over(turn: Turn) -> bool:
    """In a wait: end it, or leave it for something owed. True if the mode changed."""
    step = step_of(turn.plan, turn.state)
    wanted = _wanted(turn)
    if not is_bridge(step.id) and wanted is not None and wanted.id != step.id:
        # Something before this wait is owed again: an empty wait would pass for a kept one.
        choice = choose(turn)
        if choice not in (None, "end", step.id):
            start(turn, choice)
            return True
    if wait_over(turn.plan, turn.state, step):
        turn.emit(
            steps.WaitEnded(turn.now_ms, step.id, turn.state.top.branch, turn.now_ms - turn.state.since_ms)
        )
        return True
    choice = choose(turn)
    if choice not in (step.id, None, "end"):
        start(turn, choice)
        return True
    _announce(turn)
    return False


def _wanted(turn: Turn) -> p.Step | None:
    top = turn.state.top
    for step in branch_steps(turn.plan, top.branch):
        if step.id not in top.done and step.id not in top.skipped and holds(turn.state, step):
            return step
    return None


def choose(turn: Turn) -> str | None:
    """The id of the next step or bridge; "end" when the line of work is finished; None when there is no way."""
    wanted = _wanted(turn)
    if wanted is not None:
        return ready_step(turn.plan, turn.state, wanted)
    if turn.state.top.branch:
        return "end"
    return _closing(turn)


def _closing(turn: Turn) -> str | None:
    """What is left to do at the end of the main line: waits, doors, hands, machines."""
    plan, state = turn.plan, turn.state
    if state.contacts or any(run.status == RUNNING for run in state.cycles.values()):
        if state.contacts:
            return WAIT_ALL
        running = next(run.cycle for run in state.cycles.values() if run.status == RUNNING)
        return f"bridge:wait:{running}"
    ends = [p.Cond("opening", o.id, o.at_end) for o in plan.openings.values() if o.at_end]
    ends += [p.Cond("machine", machine, value) for machine, value in plan.end_machines.items()]
    ends.append(p.Cond("hands", "", plan.end_hands))
    for cond in ends:
        if not met(state, cond):
            return ready_step(plan, state, p.Step("end", p.INSTRUCT, "", requires=(cond,), reach=""))
    return "end"


def _next(turn: Turn) -> None:
    state = turn.state
    if next_option(turn):
        return
    choice = choose(turn)
    if choice is None:
        turn.deviate("dead_end", state.top.branch, turn.words("dead_end"))
        stopping.end(turn, "stopped")
    elif choice != "end":
        start(turn, choice)
    elif state.top.branch:
        mishaps.leave(turn)
    else:
        verdict = "incomplete" if state.main.skipped else "complete"
        stopping.end(turn, verdict)


def start(turn: Turn, step_id: str) -> None:
    """Begin a step or bridge: the fact first, then the words for it."""
    plan = turn.plan
    step = bridge_step(plan, step_id) if is_bridge(step_id) else plan.step(step_id)
    if step.kind == p.WAIT:
        _start_wait(turn, step)
        return
    mode = {p.READING: "value", p.NOTE: "value", p.WITNESS: "witness"}.get(step.kind, "step")
    if turn.state.announce:
        say_ready(turn)
    turn.emit(steps.StepStarted(turn.now_ms, step.id, turn.state.top.branch, mode))
    turn.speak(lines.INSTRUCTION, instruction(turn, step), step.id)


def instruction(turn: Turn, step: p.Step) -> str:
    """The words of a step: brief or full; cautions are never shortened."""
    brief = turn.state.brief and bool(step.brief)
    parts = [step.brief if brief else step.say, step.caution]
    if not turn.state.brief:
        parts.append(step.look_for)
    prompts = {
        p.WET: "say_confirm_wet", p.CHECK: "say_confirm_check", p.READING: "say_number", p.WITNESS: "witness_ask",
    }
    key = prompts.get(step.kind, "say_confirm")
    if step.kind == p.NOTE:
        key = f"say_{step.value_kind}"
    if not turn.state.brief or step.kind in (p.READING, p.NOTE, p.WITNESS):
        parts.append(turn.words(key))
    return " ".join(part for part in parts if part)


def _start_wait(turn: Turn, step: p.Step) -> None:
    turn.emit(steps.StepStarted(turn.now_ms, step.id, turn.state.top.branch, "wait"))
    if wait_over(turn.plan, turn.state, step):
        return  # nothing to wait for any more; the next look ends it without a word
    left = wait_left(turn.plan, turn.state, step) - turn.now_ms
    names = [name_of(turn.plan, s) for s in waited_surfaces(turn.plan, turn.state, step)]
    names += [name_of(turn.plan, c) for c in step.wait_for if c in turn.plan.cycles]
    text = turn.words(
        "wait_left", time=duration(turn.plan.language, left), names=listed(turn.plan.language, names)
    )
    parts = [text] if is_bridge(step.id) or not step.say else [step.say, text]
    turn.speak(lines.INSTRUCTION, " ".join([*parts, step.caution]), step.id)
