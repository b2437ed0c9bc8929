"""What each fact tells: in words and figures, where it belongs, and how grave it is. One line per kind.

Paper, pages, screens and JSON take their words from here, so that none can tell a fact otherwise. What was said is told
as it was said, never as an id. Pure: a fact and the plan of the day in, words out; without a plan, ids as words.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from assistant.account.names import cycle_name, left_open_words, opening_name, plain, step_name, surface_name
from assistant.account.times import span_words
from assistant.procedure.model.plan import Plan
from assistant.session.facts import contacts, lines, machine, practice, session, steps, troubles
from assistant.session.facts.base import Fact
from assistant.session.lookup import said_as

# How grave: worth knowing, worth a look, departs from the procedure.
NOTE, LOOK, DEPARTS = 0, 1, 2


@dataclass(frozen=True, slots=True)
class Telling:
    """`text`: what happened; `place`: where it belongs (session, step, surface, opening, cycle, hands, machine, speech,
    hearing, trouble); `about`: the id there, or ""."""

    text: str
    place: str
    about: str = ""
    grave: int = NOTE


def tell(plan: Plan | None, fact: Fact) -> Telling:
    """What the fact tells. Raises KeyError for a kind that nobody told of; a test holds that there is none."""
    place, about, grave, words = TELLINGS[type(fact)]
    heavy = grave(fact) if callable(grave) else grave
    return Telling(words(plan, fact), place, getattr(fact, about) if about else "", heavy)


def heard_words(plan: Plan | None, fact: lines.Heard) -> str:
    """What was heard, as it was said: a value as it is written, a command in the person's own words."""
    if fact.value:
        return fact.value
    if not fact.word:
        return fact.said or "nothing it knows"
    return fact.said or (said_as(plan, fact.word) if plan else plain(fact.word))


def _heard(plan: Plan | None, fact: lines.Heard) -> str:
    if not fact.accepted:
        return f"{heard_words(plan, fact)}  ({fact.reason or 'not understood'})"
    sure = f"  ({fact.confidence_pm / 10:.0f} %)" if fact.confidence_pm else ""  # not every engine says
    return heard_words(plan, fact) + sure


def mishap_name(plan: Plan | None, mishap: str) -> str:
    """The mishap's title, or its id as words."""
    known = plan.mishaps.get(mishap) if plan else None
    return known.title if known else plain(mishap)


def _question(plan: Plan | None, question: str) -> str:
    """A recovery's question ("surface:x") in words."""
    kind, _, name = question.partition(":")
    known: dict[str, Callable[[Plan | None, str], str]] = {
        "step": step_name, "surface": surface_name, "contact": surface_name, "opening": opening_name, "cycle": cycle_name,
    }
    named = known.get(kind)
    return named(plan, name) if named else plain(question.replace(":", " "))


def _list(parts: Iterable[str]) -> str:
    return ", ".join(parts) or "nothing"


def _yes(value: bool) -> str:
    return "yes" if value else "no"


def _at_step(words: str) -> Callable[[Plan | None, Any], str]:
    return lambda p, f: words.format(step=step_name(p, f.step), f=f)


def _at_surface(words: str) -> Callable[[Plan | None, Any], str]:
    return lambda p, f: words.format(surface=surface_name(p, f.surface), f=f)


# Kind -> where it belongs, the field that says what of, how grave, and the words.
TELLINGS: dict[type[Fact], tuple[str, str, int | Callable[[Any], int], Callable[[Plan | None, Any], str]]] = {
    session.SessionBegun: ("session", "", NOTE, lambda p, f: f"{f.person} begins: {f.procedure}, revision {f.revision}"),
    session.OptionAsked: ("session", "", NOTE, lambda p, f: f"asked at the start: {plain(f.option)}"),
    session.OptionAnswered: ("session", "", NOTE, lambda p, f: f"{plain(f.option)}: {_yes(f.value)}"),
    session.OptionTakenBack: ("session", "", LOOK, lambda p, f: f"taken back, asked again: {plain(f.option)}, {_yes(f.value)}"),
    session.OptionReadBack: ("session", "", NOTE, lambda p, f: f"read back: {plain(f.option)}, {_yes(f.value)}"),
    session.OptionReadBackDropped: ("session", "", NOTE, lambda p, f: f"not meant after all: {plain(f.option)}"),
    session.Paused: ("session", "", LOOK, lambda p, f: "paused; physical timers went on"),
    session.Returned: ("session", "", NOTE, lambda p, f: f"back to: {plain(f.to)}"),
    session.PersonChanged: ("session", "", LOOK, lambda p, f: f"{f.person} takes over from {f.before}"),
    session.StopBegun: ("session", "", DEPARTS, lambda p, f: f"safe stop: {_list(left_open_words(p, t) for t in f.to_do)}"),
    session.VerdictReached: ("session", "", lambda f: NOTE if f.verdict == "complete" else DEPARTS, lambda p, f: f.verdict),
    steps.StepStarted: ("step", "step", NOTE, _at_step("begun: {step}")),
    steps.StrokeStarted: ("surface", "surface", NOTE, _at_surface("{surface}, being wetted")),
    steps.ReadBackAsked: ("step", "step", NOTE, _at_step("read back: {step}")),
    steps.ClaimQuestioned: ("step", "step", LOOK, lambda p, f: (
        f"questioned, confirmed after {span_words(f.took_ms)}, plausible from {span_words(f.floor_ms)}: "
        f"{step_name(p, f.step)}")),
    steps.ClaimDropped: ("step", "step", NOTE, _at_step("not confirmed after all: {step}")),
    steps.WitnessAsked: ("step", "step", NOTE, _at_step("a witness is asked for: {step}")),
    steps.WitnessGiven: ("step", "step", NOTE, _at_step("witness {f.person}: {f.statement}")),
    steps.StepConfirmed: ("step", "step", lambda f: LOOK if f.quick else NOTE, _at_step("done: {step}")),
    steps.CheckAnswered: ("step", "step", lambda f: NOTE if f.yes else LOOK, lambda p, f: (
        f"answered {_yes(f.yes)}: {step_name(p, f.step)}")),
    steps.StepSkipped: ("step", "step", DEPARTS, _at_step("Skipped: {step}")),
    steps.StepOwed: ("step", "step", LOOK, _at_step("to be done again: {step}; {f.because}")),
    steps.CorrectionMade: ("step", "step", LOOK, _at_step("Taken back: {step}")),
    steps.ValueHeard: ("step", "step", NOTE, _at_step("value heard: {f.value}")),
    steps.ValueDropped: ("step", "step", NOTE, _at_step("value dropped: {f.value}  ({f.reason})")),
    steps.ValueFailed: ("step", "step", LOOK, _at_step("no value after {f.times} tries: {step}")),
    steps.SpellingAsked: ("step", "step", NOTE, _at_step("asked sign by sign: {step}")),
    steps.SignsHeard: ("step", "step", NOTE, _at_step("so far: {f.signs}")),
    steps.ValueAccepted: ("step", "step", lambda f: NOTE if f.inside_limits else LOOK, lambda p, f: (
        f"{step_name(p, f.step)}: {f.value} {f.unit}".rstrip() + ("" if f.inside_limits else ", outside its limits"))),
    steps.WaitEnded: ("step", "step", NOTE, lambda p, f: f"waited {span_words(f.waited_ms)}: {step_name(p, f.step)}"),
    steps.TimeLeftSaid: ("step", "step", NOTE, lambda p, f: f"time left said: {span_words(f.mark_ms)}"),
    contacts.ContactStarted: ("surface", "surface", NOTE, lambda p, f: (
        f"{surface_name(p, f.surface)}, wet with {plain(f.agent)}, contact "
        f"{span_words(f.complete_at_ms - f.wet_since_ms)}")),
    contacts.RewetAsked: ("surface", "surface", NOTE, _at_surface("{surface}, asked to wet it again")),
    contacts.RewetResumed: ("surface", "", NOTE, lambda p, f: (
        f"asked again to wet: {_list(surface_name(p, s) for s in f.surfaces)}")),
    contacts.RewetStroke: ("surface", "surface", NOTE, _at_surface("{surface}, being wetted again")),
    contacts.RewetConfirmed: ("surface", "surface", NOTE, _at_surface("{surface}, wet again in time")),
    contacts.SurfaceDried: ("surface", "surface", DEPARTS, _at_surface("{surface}, dried too soon; its time counts from zero")),
    contacts.ContactCompleted: ("surface", "surface", NOTE, _at_surface("{surface}, contact time complete")),
    contacts.ContactVoided: ("surface", "surface", LOOK, _at_surface("{surface}, counts no more: {f.reason}")),
    contacts.RemedyChosen: ("surface", "surface", NOTE, lambda p, f: (
        f"{surface_name(p, f.surface)}, remedy: {plain(f.remedy)}")),
    contacts.PatchWetted: ("step", "step", NOTE, _at_step("test patch wet: {step}")),
    contacts.PatchDried: ("step", "step", NOTE, lambda p, f: (
        f"test patch, {plain(f.orientation)}, {plain(f.agent)}: dry after {span_words(f.measured_ms)}, "
        f"counted as {span_words(f.wet_ms)}")),
    contacts.PatchVoided: ("step", "step", LOOK, _at_step("test patch counts no more: {step}")),
    machine.CycleStarted: ("cycle", "cycle", NOTE, lambda p, f: (
        f"{cycle_name(p, f.cycle)}, running, {span_words(f.due_ms - f.started_ms)}")),
    machine.CycleCompleted: ("cycle", "cycle", NOTE, lambda p, f: f"{cycle_name(p, f.cycle)}, complete"),
    machine.CycleBroken: ("cycle", "cycle", LOOK, lambda p, f: f"{cycle_name(p, f.cycle)}, counts no more: {f.reason}"),
    machine.OpeningMoved: ("opening", "opening", NOTE, lambda p, f: f"{opening_name(p, f.opening)}, {plain(f.to)}"),
    machine.HandsMoved: ("hands", "", NOTE, lambda p, f: f"hands in the {plain(f.to)}"),
    machine.MachineSet: ("machine", "machine", NOTE, lambda p, f: f"{plain(f.machine)}: {plain(f.value)}"),
    machine.LimitWarned: ("machine", "limit", LOOK, lambda p, f: f"a limit draws near: {plain(f.limit)}"),
    machine.LimitMissed: ("machine", "limit", DEPARTS, lambda p, f: f"a limit was missed: {plain(f.limit)}"),
    lines.LineSpoken: ("speech", "", NOTE, lambda p, f: f.text),
    lines.LineEnded: ("speech", "", NOTE, lambda p, f: (
        f"spoken for {span_words(f.ended_ms - f.started_ms)}" + (", cut short" if f.interrupted else ""))),
    lines.Heard: ("hearing", "", lambda f: NOTE if f.accepted else LOOK, _heard),
    lines.NotNow: ("hearing", "", NOTE, lambda p, f: (
        f"not now: {said_as(p, f.word) if p else plain(f.word)}")),
    lines.KeysOffered: ("hearing", "", LOOK, lambda p, f: f"keys offered after {f.misheard} words not understood"),
    lines.MannerChanged: ("speech", "", NOTE, lambda p, f: f"speaks from now on: {plain(f.manner)}"),
    lines.Announced: ("speech", "", NOTE, lambda p, f: f"announced: {_list(_question(p, e) for e in f.ends)}"),
    practice.NextRecalled: ("step", "step", NOTE, lambda p, f: (
        f"asked what comes next: {'right' if f.chosen == f.right else 'wrong'}")),
    troubles.TroubleAsked: ("trouble", "", NOTE, lambda p, f: "asked what is wrong"),
    troubles.WhichAsked: ("trouble", "", NOTE, lambda p, f: f"asked which one: {mishap_name(p, f.mishap)}"),
    troubles.BranchEntered: ("trouble", "surface", DEPARTS, lambda p, f: (
        f"Mishap: {mishap_name(p, f.mishap)}" + (f" ({surface_name(p, f.surface)})" if f.surface else ""))),
    troubles.MishapNoted: ("trouble", "", DEPARTS, lambda p, f: f"noted, seen to later: {mishap_name(p, f.mishap)}"),
    troubles.HeldBack: ("trouble", "", NOTE, lambda p, f: f"not said now: {_question(p, f.about)}"),
    troubles.HeldSaid: ("trouble", "", NOTE, lambda p, f: f"said now, held back before: {_list(_question(p, a) for a in f.about)}"),
    troubles.BranchLeft: ("trouble", "", NOTE, lambda p, f: f"over: {mishap_name(p, f.mishap)}"),
    troubles.SurfaceSpoiled: ("surface", "surface", LOOK, _at_surface("{surface}, counts no more: {f.reason}")),
    troubles.RedoPlanned: ("trouble", "", LOOK, lambda p, f: "; ".join(f.reasons)),
    troubles.Deviation: ("trouble", "", DEPARTS, lambda p, f: f.text),
    troubles.Recovered: ("trouble", "", LOOK, lambda p, f: f"Nobody watched for {span_words(f.unwatched_ms)} ({f.why})"),
    troubles.RecoveryAnswered: ("trouble", "", NOTE, lambda p, f: f"{_question(p, f.question)}: {_yes(f.yes)}"),
    troubles.QuestionsResumed: ("trouble", "", NOTE, lambda p, f: "the questions go on"),
    troubles.DeviceLost: ("trouble", "", LOOK, lambda p, f: f"The {f.device} was lost"),
    troubles.DeviceBack: ("trouble", "", NOTE, lambda p, f: f"The {f.device} is back"),
    troubles.ClockStepped: ("trouble", "", LOOK, lambda p, f: f"the wall clock stepped by {f.step_ms / 1000:g} s"),
    troubles.SoundGap: ("trouble", "", LOOK, lambda p, f: f"nothing was heard for {f.gap_ms} ms"),
}  # fmt: skip
