"""Reads the time line off the facts: one lane per surface, opening and cycle, and lanes for hands, speech, hearing
and what went wrong. Pure: facts in, spans and marks out.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from assistant.account.names import cycle_name, opening_name, surface_name
from assistant.account.telling import tell
from assistant.procedure.model.plan import Plan
from assistant.review.session.lanes import (
    CLEAN,
    CONTACT,
    CORRECTION,
    DEVIATION,
    DRIED,
    GAUNTLETS,
    HEARD,
    MISHAP,
    NOTE,
    OPEN,
    PAUSED,
    RECOVERY,
    REFUSED,
    REWET,
    RUNNING,
    SKIP,
    SPOKEN,
    VOID,
    WETTING,
    Lane,
    Mark,
    Span,
)
from assistant.session.facts import contacts, lines, machine, practice, session, steps, troubles
from assistant.session.facts.base import Fact


def lanes(
    facts: Sequence[Fact], plan: Plan | None, end_ms: int, line_numbers: Sequence[int] = ()
) -> list[Lane]:
    """All lanes that have anything on them, in the order a person looks for them. `line_numbers`: where in the
    record each fact stands, so that a span or mark can name its line."""
    return _Builder(plan, end_ms).build(facts, line_numbers)


class _Builder:
    def __init__(self, plan: Plan | None, end_ms: int) -> None:
        self.plan, self.end_ms = plan, end_ms
        self.lanes: dict[str, Lane] = {}
        self.events = Lane("events", "What went wrong", "events")
        self.voice = Lane("speech", "Assistant speaks", "sound")
        self.ear = Lane("hearing", "Words heard", "sound")
        self.hands = Lane("hands", "Hands in gauntlets", "enclosure")
        self.open: dict[str, Span] = {}  # lane id -> the span that still runs
        self.said: dict[int, tuple[str, int]] = {}  # line of speech -> its text, its place in the record
        self.line = 0  # of the record, of the fact at hand

    def build(self, facts: Sequence[Fact], line_numbers: Sequence[int]) -> list[Lane]:
        for number, fact in enumerate(facts):
            self.line = line_numbers[number] if number < len(line_numbers) else 0
            handler = _HANDLERS.get(type(fact))
            if handler:
                handler(self, fact)
        for span in self.open.values():
            span.end_ms = self.end_ms
        order = {f"surface:{s}": n for n, s in enumerate(self.plan.surfaces)} if self.plan else {}
        surfaces = sorted(
            (x for x in self.lanes.values() if x.group == "surfaces"),
            key=lambda lane: order.get(lane.id, 999),
        )
        rest = [x for x in self.lanes.values() if x.group == "enclosure"]
        tail = [x for x in (self.hands, self.voice, self.ear) if x.spans or x.marks]
        return [self.events, *surfaces, *rest, *tail]

    def lane(self, kind: str, name: str) -> Lane:
        """The lane of a surface, opening or cycle."""
        key = f"{kind}:{name}"
        if key not in self.lanes:
            shown = {"surface": surface_name, "opening": opening_name, "cycle": cycle_name}[kind](
                self.plan, name
            )
            self.lanes[key] = Lane(key, shown, "surfaces" if kind == "surface" else "enclosure")
        return self.lanes[key]

    def begin(self, lane: Lane, kind: str, fact: Fact, at_ms: int | None = None, label: str = "") -> None:
        at_ms = fact.at_ms if at_ms is None else at_ms
        self.end(lane, at_ms)
        span = Span(kind, at_ms, at_ms, label or self.told(fact, lane), self.line)
        lane.spans.append(span)
        self.open[lane.id] = span

    def end(self, lane: Lane, at_ms: int) -> None:
        span = self.open.pop(lane.id, None)
        if span:
            span.end_ms = max(span.start_ms, at_ms)

    def mark(self, lane: Lane, kind: str, fact: Fact, at_ms: int | None = None) -> None:
        lane.marks.append(Mark(kind, fact.at_ms if at_ms is None else at_ms, self.told(fact, lane), self.line))

    def told(self, fact: Fact, lane: Lane) -> str:
        """What the fact tells, without the name of the lane: that stands before it."""
        return tell(self.plan, fact).text.removeprefix(f"{lane.name}, ")

    # surfaces

    def stroke(self, fact: steps.StrokeStarted) -> None:
        self.begin(self.lane("surface", fact.surface), WETTING, fact, fact.stroke_ms)

    def contact(self, fact: contacts.ContactStarted) -> None:
        lane = self.lane("surface", fact.surface)
        running = self.open.get(lane.id)
        if running is None or running.kind != WETTING:
            self.begin(lane, WETTING, fact, fact.stroke_ms, "being wetted")
        self.begin(lane, CONTACT, fact, fact.wet_since_ms)

    def rewet_asked(self, fact: contacts.RewetAsked) -> None:
        self.mark(self.lane("surface", fact.surface), REWET, fact)

    def rewet(self, fact: contacts.RewetConfirmed) -> None:
        self.mark(self.lane("surface", fact.surface), REWET, fact, fact.claimed_ms)

    def dried(self, fact: contacts.SurfaceDried) -> None:
        self.begin(self.lane("surface", fact.surface), DRIED, fact)

    def complete(self, fact: contacts.ContactCompleted) -> None:
        self.begin(self.lane("surface", fact.surface), CLEAN, fact, fact.due_ms)

    def void(self, fact: contacts.ContactVoided) -> None:
        lane = self.lane("surface", fact.surface)
        running = self.open.get(lane.id)
        if running is None or running.kind != DRIED:
            self.begin(lane, VOID, fact)

    def spoiled(self, fact: troubles.SurfaceSpoiled) -> None:
        self.begin(self.lane("surface", fact.surface), VOID, fact)

    # enclosure

    def opening(self, fact: machine.OpeningMoved) -> None:
        lane = self.lane("opening", fact.opening)
        if fact.to == "open":
            self.begin(lane, OPEN, fact)
        else:
            self.end(lane, fact.at_ms)

    def cycle(self, fact: machine.CycleStarted) -> None:
        self.begin(self.lane("cycle", fact.cycle), RUNNING, fact, fact.started_ms)

    def cycle_done(self, fact: machine.CycleCompleted) -> None:
        self.begin(self.lane("cycle", fact.cycle), CLEAN, fact, fact.due_ms)

    def cycle_broken(self, fact: machine.CycleBroken) -> None:
        lane = self.lane("cycle", fact.cycle)
        self.end(lane, fact.at_ms)
        self.mark(lane, NOTE, fact)

    def moved(self, fact: machine.HandsMoved) -> None:
        if fact.to == "room":
            self.end(self.hands, fact.at_ms)
        else:
            self.begin(self.hands, GAUNTLETS, fact)

    # sound

    def spoken(self, fact: lines.LineSpoken) -> None:
        self.said[fact.line] = (fact.text, self.line)

    def ended(self, fact: lines.LineEnded) -> None:
        text, line = self.said.pop(fact.line, ("", self.line))
        self.voice.spans.append(Span(SPOKEN, fact.started_ms, fact.ended_ms, text, line))

    def heard(self, fact: lines.Heard) -> None:
        kind, end_ms = HEARD if fact.accepted else REFUSED, max(fact.ended_ms, fact.started_ms + 1)
        self.ear.spans.append(Span(kind, fact.started_ms, end_ms, self.told(fact, self.ear), self.line))

    # events

    def deviation(self, fact: troubles.Deviation) -> None:
        marks = self.events.marks
        told = marks and marks[-1].kind == SKIP and marks[-1].at_ms == fact.at_ms
        if fact.code != "mishap" and not told:  # the branch that follows has its own mark
            self.mark(self.events, DEVIATION, fact)

    def branch(self, fact: troubles.BranchEntered | troubles.MishapNoted) -> None:
        self.mark(self.events, MISHAP, fact)

    def correction(self, fact: steps.CorrectionMade) -> None:
        self.mark(self.events, CORRECTION, fact)

    def skipped(self, fact: steps.StepSkipped) -> None:
        # A skip is told as a deviation in the same moment; one mark says both.
        self.events.marks = [m for m in self.events.marks if m.at_ms != fact.at_ms or m.kind != DEVIATION]
        self.mark(self.events, SKIP, fact)

    def recovered(self, fact: troubles.Recovered) -> None:
        self.mark(self.events, RECOVERY, fact)

    def paused(self, fact: session.Paused) -> None:
        self.begin(self.events, PAUSED, fact)

    def returned(self, fact: session.Returned) -> None:
        running = self.open.get("events")
        if running and running.kind == PAUSED and fact.to != "paused":
            self.end(self.events, fact.at_ms)

    def noted(self, fact: Fact) -> None:
        self.mark(self.events, NOTE, fact)


_HANDLERS: dict[type[Fact], Callable[[_Builder, Any], None]] = {
    steps.StrokeStarted: _Builder.stroke,
    contacts.ContactStarted: _Builder.contact,
    contacts.RewetAsked: _Builder.rewet_asked,
    contacts.RewetConfirmed: _Builder.rewet,
    contacts.SurfaceDried: _Builder.dried,
    contacts.ContactCompleted: _Builder.complete,
    contacts.ContactVoided: _Builder.void,
    troubles.SurfaceSpoiled: _Builder.spoiled,
    machine.OpeningMoved: _Builder.opening,
    machine.CycleStarted: _Builder.cycle,
    machine.CycleCompleted: _Builder.cycle_done,
    machine.CycleBroken: _Builder.cycle_broken,
    machine.HandsMoved: _Builder.moved,
    lines.LineSpoken: _Builder.spoken,
    lines.LineEnded: _Builder.ended,
    lines.Heard: _Builder.heard,
    troubles.Deviation: _Builder.deviation,
    troubles.BranchEntered: _Builder.branch,
    troubles.Recovered: _Builder.recovered,
    troubles.DeviceLost: _Builder.noted,
    steps.CorrectionMade: _Builder.correction,
    steps.StepSkipped: _Builder.skipped,
    session.Paused: _Builder.paused,
    session.Returned: _Builder.returned,
    session.PersonChanged: _Builder.noted,
    troubles.MishapNoted: _Builder.branch,
    troubles.DeviceBack: _Builder.noted,
    troubles.ClockStepped: _Builder.noted,
    troubles.SoundGap: _Builder.noted,
    machine.LimitMissed: _Builder.noted,
    session.StopBegun: _Builder.noted,
    session.OptionTakenBack: _Builder.noted,
}

_IN_STEPS, _SPOKEN, _OTHER_MARK = "stands in the table of steps", "a line on the lane of speech", "another mark says it"
# Kinds without a span or mark of their own, each with the reason.
NOT_DRAWN: dict[type[Fact], str] = {
    **dict.fromkeys((
        steps.StepStarted, steps.ClaimQuestioned, steps.ClaimDropped, steps.WitnessGiven, steps.StepConfirmed,
        steps.CheckAnswered, steps.StepOwed, steps.ValueHeard, steps.ValueDropped, steps.ValueFailed, steps.SignsHeard,
        steps.ValueAccepted, steps.WaitEnded, contacts.PatchWetted, contacts.PatchDried, contacts.PatchVoided,
        practice.NextRecalled,
    ), _IN_STEPS),
    **dict.fromkeys((
        session.OptionAsked, session.OptionReadBack, session.OptionReadBackDropped, steps.ReadBackAsked, steps.WitnessAsked, steps.SpellingAsked, steps.TimeLeftSaid,
        lines.NotNow, lines.KeysOffered, lines.Announced, machine.LimitWarned, troubles.TroubleAsked,
        troubles.WhichAsked, troubles.HeldSaid, troubles.QuestionsResumed, contacts.RewetResumed,
    ), _SPOKEN),
    **dict.fromkeys((
        contacts.RewetStroke, contacts.RemedyChosen, troubles.BranchLeft, troubles.RedoPlanned,
    ), _OTHER_MARK),
    session.SessionBegun: "the line begins with it",
    session.VerdictReached: "the line ends with it; the page's head says it",
    session.OptionAnswered: "the word heard stands on the lane of hearing",
    troubles.RecoveryAnswered: "the word heard stands on the lane of hearing",
    lines.MannerChanged: "how it speaks, not what happened",
    machine.MachineSet: "has no lane; the step that set it tells it",
    troubles.HeldBack: "nothing was said yet; what is said later stands on the lane of speech",
}
