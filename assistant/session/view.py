"""What a screen or a page shows of a session: read off plan and state, in the plan's language, nothing decided.

Every time is an absolute moment on the session's clock (ms); whoever draws subtracts its own `now`.
"""

from __future__ import annotations

from dataclasses import dataclass

from assistant.language.sentences import say
from assistant.procedure.model.plan import WAIT, WET, Plan, Step
from assistant.session.asking.prompts import choice_names, prompt
from assistant.session.lookup import branch_steps, concerned, holds, name_of, said_as, step_of, wait_left
from assistant.session.state import CLEAN, FINAL_MODES, RUNNING, State
from assistant.session.timing import timers
from assistant.session.words.allowed import allowed_words, expects

CONTACT, WETTING, CYCLE, LIMIT, WAITING, PATCH = "contact", "wetting", "cycle", "limit", "wait", "patch"


@dataclass(frozen=True, slots=True)
class TimerView:
    """One running timer. `due_ms`: its end, or -1 for one that only counts up (a patch). `dries_ms`: when the
    surface dries if nobody wets it again, or -1. `rewet_ms`: when the re-wet is (or was) asked for, or -1."""

    kind: str
    id: str
    name: str
    started_ms: int
    due_ms: int
    dries_ms: int = -1
    rewet_ms: int = -1
    rewet_asked: bool = False


@dataclass(frozen=True, slots=True)
class OpeningView:
    id: str
    name: str
    at: str  # open | closed
    at_text: str
    since_ms: int = -1  # since when it is open


@dataclass(frozen=True, slots=True)
class WordView:
    """A command that counts now and how it is said here."""

    word: str
    said: str


@dataclass(frozen=True, slots=True)
class View:
    """`title`: the step in few words; `text`: the step in full; `line`: what was last asked or instructed.
    `branch`: the mishap's title, or "". `done`/`total`: steps of the line of work at hand. `expects`: number,
    lot, date or "". `surfaces`: (id, name, status)."""

    mode: str
    mode_text: str
    step: str
    title: str
    text: str
    caution: str
    line: str
    branch: str
    depth: int
    done: int
    total: int
    person: str
    kind: str
    hands: str
    hands_text: str
    timers: tuple[TimerView, ...]
    wet: tuple[str, ...]
    surfaces: tuple[tuple[str, str, str], ...]
    openings: tuple[OpeningView, ...]
    machines: tuple[tuple[str, str], ...]
    words: tuple[WordView, ...]
    expects: str
    choices: tuple[str, ...]
    deviations: int
    lost: tuple[str, ...]
    verdict: str
    now_ms: int


def view(plan: Plan, state: State) -> View:
    """The whole picture at the state's own time."""
    step = step_of(plan, state)
    branch = state.top.branch
    todo = [s for s in branch_steps(plan, branch) if holds(state, s)]
    shown = concerned(plan)
    finished = state.top.done | state.top.skipped
    return View(
        mode=state.mode, mode_text=mode_text(plan, state), step=state.current, title=_title(step),
        text=step.say if step else "", caution=step.caution if step else "", line=prompt(plan, state),
        branch=plan.mishaps[branch].title if branch else "", depth=len(state.frames) - 1,
        done=sum(s.id in finished for s in todo), total=len(todo), person=state.person, kind=state.kind,
        hands=state.hands, hands_text=say(plan.language, f"hands_{state.hands}"), timers=timer_views(plan, state),
        wet=tuple(sorted(state.contacts)),
        surfaces=tuple((s, name_of(plan, s), status) for s in plan.surfaces for status in (state.surfaces[s],)),
        openings=tuple(
            OpeningView(o, name_of(plan, o), at, say(plan.language, at), state.opened_ms.get(o, -1))
            for o, at in state.openings.items()
            if o in shown
        ),
        machines=tuple(sorted(state.machines.items())),
        words=tuple(WordView(w, said_as(plan, w)) for w in sorted(allowed_words(plan, state))),
        expects=expects(plan, state) or "", choices=tuple(choice_names(plan, state)),
        deviations=state.deviations, lost=tuple(sorted(state.lost)), verdict=state.verdict, now_ms=state.now_ms,
    )


def mode_text(plan: Plan, state: State) -> str:
    """The mode in plain words: "Waiting", "Paused", "Which one?"."""
    return say(plan.language, f"mode_{state.mode}")


def _title(step: Step | None) -> str:
    return (step.brief or step.say) if step else ""


def timer_views(plan: Plan, state: State) -> tuple[TimerView, ...]:
    """Everything that runs, what ends first first; empty after the end."""
    if state.mode in FINAL_MODES:
        return ()
    found = [
        TimerView(
            CONTACT, c.surface, name_of(plan, c.surface), c.wet_since_ms, c.complete_at_ms, c.dries_at_ms,
            c.rewet_at_ms or -1, c.asked_ms >= 0,
        )
        for c in state.contacts.values()
    ]
    found += [
        TimerView(CYCLE, run.cycle, name_of(plan, run.cycle), run.started_ms, run.due_ms)
        for run in state.cycles.values()
        if run.status == RUNNING
    ]
    step = step_of(plan, state)
    if step is not None and step.kind == WET and state.surfaces.get(step.surface) != CLEAN:
        first = state.stroke_ms if state.stroke_ms >= 0 else state.since_ms
        dries = first + timers.wet_ms_today(plan, state, step)
        found.append(TimerView(WETTING, step.surface, name_of(plan, step.surface), first, dries, dries))
    if step is not None and step.kind == WAIT and state.current:
        found.append(TimerView(WAITING, step.id, step.say, state.since_ms, wait_left(plan, state, step)))
    if state.patch_since_ms >= 0 and step is not None:
        found.append(TimerView(PATCH, step.id, name_of(plan, step.surface), state.patch_since_ms, -1))
    for due in timers.thresholds(plan, state):
        if due.rank == timers.LIMIT_MISSED:
            kind, subject = due.subject.split(":", 1)
            name = name_of(plan, subject) if kind == "opening" else _title(plan.step(subject))
            since = state.opened_ms.get(subject, 0) if kind == "opening" else 0
            found.append(TimerView(LIMIT, due.subject, name, since, due.at_ms))
    found.sort(key=lambda t: (t.due_ms < 0, t.due_ms, t.kind, t.id))
    return tuple(found)
