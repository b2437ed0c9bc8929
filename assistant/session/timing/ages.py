"""`key(plan, state)`: a state as something hashable in which moments are ages, so that two sessions that can only
go on alike are equal. The proof of a procedure visits each key once.

Left out is what no decision reads: line counters and texts, values taken, who confirmed what when, marks of a
countdown already said, the length of a wait so far. Kept is everything that can still change what follows. A
test walks the fields of `State` and fails for one that is neither kept nor named here as left out.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping

from assistant.procedure.model.plan import PATCH, WET, Plan
from assistant.session.lookup import step_of
from assistant.session.state import FINAL_MODES, RUNNING, State

# Fields of State that no key holds, each with the reason why nothing follows from it.
LEFT_OUT = {
    "now_ms": "ages are counted from it",
    "before_rewet_ms": "only a word that was over before the state's last change is judged by it",
    "entered_ms": "only a word begun earlier than it is refused; the walk's words begin when they are decided",
    "begun_ms": "a stamp",
    "kind": "changes one spoken line at the start",
    "brief": "changes wording only",
    "values": "recorded, never read again",
    "marks": "a countdown is speech; no decision hangs on it",
    "lines": "a counter",
    "last_text": "read only by `repeat`",
    "misheard": "leads to offers of keys, which are speech",
    "value_fails": "leads to spelling, which only a voice at the microphone does",
    "spelling": "another way to say the same value; the walk's values come whole",
    "spelt": "as spelling",
    "to_mend": "as spelling",
    "deviations": "a counter",
    "quiet_ms": "only a voice begun before it is refused; the walk's words begin when they are decided",
    "settling": "read after a torn decision only, and the walk's decisions are whole",
    "announce_ms": "when completions are spoken of; no decision hangs on it",
}


def key(plan: Plan, state: State, corrections: int | None = None) -> Hashable:
    """The canonical key. `corrections`: how many of the latest confirmations the walk may still take back
    (None: all of them)."""
    now = state.now_ms
    if state.mode in FINAL_MODES:
        return (state.mode, state.main.done, state.main.skipped)
    step = step_of(plan, state)
    since = 0
    if step is not None:
        since = now - state.since_ms
        if step.kind != WET:
            since = min(since, step.impossible_ms)
    patch = now - state.patch_since_ms if state.patch_since_ms >= 0 else -1
    if patch >= 0 and step is not None and step.kind == PATCH and step.wet_ms:
        patch = min(patch, step.wet_ms)
    recent = state.confirmed if corrections is None else _last_steps(state.confirmed, corrections)
    return (
        state.mode, state.under, state.current, state.hands, state.frames, since,
        now - state.stroke_ms if state.stroke_ms >= 0 else -1,
        now - state.claimed_ms if state.claimed_ms >= 0 else -1,
        state.asked, state.questioned, state.value, state.which, state.which_from, state.mishap, patch,
        _items(state.surfaces), state.last_wetted, _items(state.dryings), _items(state.openings),
        _items(state.machines), _items(state.options),
        tuple(sorted(
            (c.surface, c.step, c.complete_at_ms - now, c.dries_at_ms - now,
             c.rewet_at_ms - now if c.rewet_at_ms and c.asked_ms < 0 else 0,
             now - c.asked_ms if c.asked_ms >= 0 else -1,
             now - c.stroke_again_ms if c.stroke_again_ms >= 0 else -1)
            for c in state.contacts.values()
        )),
        tuple(sorted(
            (run.cycle, run.status, run.due_ms - now if run.status == RUNNING else 0)
            for run in state.cycles.values()
        )),
        _open_ages(plan, state), tuple(sorted((o, now - at) for o, at in state.opened_before_ms.items()))
        if any(o.max_open_ms for o in plan.openings.values()) and corrections != 0 else (),
        state.hands_before if corrections is None else _last_steps(state.hands_before, corrections),
        state.question_depth if state.questions else 0, state.stop_depth, _limit_ages(plan, state), recent,
        tuple(sorted(state.patch_ms.items())), frozenset(state.announce),
        tuple(s for s, due in state.just_done if due >= now), state.rewets, state.warned, state.missed,
        state.questions, state.held, tuple((m, now - at) for m, at in state.noted), state.person, state.voice, state.open_lines, state.lost, state.verdict,
    )


def _items(table: Mapping[str, object]) -> tuple[tuple[str, object], ...]:
    return tuple(sorted(table.items()))


def _last_steps(confirmed: tuple[str, ...], n: int) -> tuple[str, ...]:
    return confirmed[-n:] if n else ()


def _open_ages(plan: Plan, state: State) -> tuple[tuple[str, int], ...]:
    """How long each opening with a limit has been open; nothing once the limit is missed."""
    return tuple(sorted(
        (o, state.now_ms - since)
        for o, since in state.opened_ms.items()
        if plan.openings[o].max_open_ms and f"opening:{o}" not in state.missed
    ))


def _limit_ages(plan: Plan, state: State) -> tuple[tuple[str, int], ...]:
    """How long ago each step was confirmed that another, still open, must follow in time."""
    return tuple(sorted(
        (s.id, state.now_ms - state.confirmed_ms[s.after_step])
        for s in plan.steps
        if s.within_ms and s.after_step in state.confirmed_ms and s.id not in state.main.done
        and f"step:{s.id}" not in state.missed
    ))
