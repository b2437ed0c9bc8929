"""Reads the time line off the facts: one lane per surface, opening and cycle, and lanes for hands, speech, hearing
and what went wrong. Pure: facts in, spans and marks out.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from assistant.account.names import cycle_name, opening_name, span_words, step_name, surface_name
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
from assistant.session.facts import contacts, lines, machine, session, steps, troubles
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

    def begin(self, lane: Lane, kind: str, at_ms: int, label: str) -> None:
        self.end(lane, at_ms)
        span = Span(kind, at_ms, at_ms, label, self.line)
        lane.spans.append(span)
        self.open[lane.id] = span

    def end(self, lane: Lane, at_ms: int) -> None:
        span = self.open.pop(lane.id, None)
        if span:
            span.end_ms = max(span.start_ms, at_ms)

    def mark(self, lane: Lane, kind: str, at_ms: int, label: str) -> None:
        lane.marks.append(Mark(kind, at_ms, label, self.line))

    def event(self, kind: str, at_ms: int, label: str) -> None:
        self.mark(self.events, kind, at_ms, label)

    # surfaces

    def stroke(self, fact: steps.StrokeStarted) -> None:
        self.begin(self.lane("surface", fact.surface), WETTING, fact.stroke_ms, "being wetted")

    def contact(self, fact: contacts.ContactStarted) -> None:
        lane = self.lane("surface", fact.surface)
        running = self.open.get(lane.id)
        if running is None or running.kind != WETTING:
            self.begin(lane, WETTING, fact.stroke_ms, "being wetted")
        need = span_words(fact.complete_at_ms - fact.wet_since_ms)
        self.begin(
            lane, CONTACT, fact.wet_since_ms, f"wet with {fact.agent.replace('_', ' ')}, contact {need}"
        )

    def rewet_asked(self, fact: contacts.RewetAsked) -> None:
        self.mark(self.lane("surface", fact.surface), REWET, fact.at_ms, "asked to wet it again")

    def rewet(self, fact: contacts.RewetConfirmed) -> None:
        self.mark(self.lane("surface", fact.surface), REWET, fact.claimed_ms, "wetted again")

    def dried(self, fact: contacts.SurfaceDried) -> None:
        self.begin(
            self.lane("surface", fact.surface), DRIED, fact.at_ms, "dried too soon; its time counts from zero"
        )

    def complete(self, fact: contacts.ContactCompleted) -> None:
        self.begin(self.lane("surface", fact.surface), CLEAN, fact.due_ms, "contact time complete")

    def void(self, fact: contacts.ContactVoided) -> None:
        lane = self.lane("surface", fact.surface)
        running = self.open.get(lane.id)
        if running is None or running.kind != DRIED:
            self.begin(lane, VOID, fact.at_ms, f"counts no more: {fact.reason}")

    def spoiled(self, fact: troubles.SurfaceSpoiled) -> None:
        self.begin(self.lane("surface", fact.surface), VOID, fact.at_ms, f"counts no more: {fact.reason}")

    # enclosure

    def opening(self, fact: machine.OpeningMoved) -> None:
        lane = self.lane("opening", fact.opening)
        if fact.to == "open":
            self.begin(lane, OPEN, fact.at_ms, "open")
        else:
            self.end(lane, fact.at_ms)

    def cycle(self, fact: machine.CycleStarted) -> None:
        self.begin(
            self.lane("cycle", fact.cycle),
            RUNNING,
            fact.started_ms,
            f"running, {span_words(fact.due_ms - fact.started_ms)}",
        )

    def cycle_done(self, fact: machine.CycleCompleted) -> None:
        self.begin(self.lane("cycle", fact.cycle), CLEAN, fact.due_ms, "complete")

    def cycle_broken(self, fact: machine.CycleBroken) -> None:
        lane = self.lane("cycle", fact.cycle)
        self.end(lane, fact.at_ms)
        self.mark(lane, NOTE, fact.at_ms, f"counts no more: {fact.reason}")

    def moved(self, fact: machine.HandsMoved) -> None:
        if fact.to == "room":
            self.end(self.hands, fact.at_ms)
        else:
            self.begin(self.hands, GAUNTLETS, fact.at_ms, f"hands in the {fact.to}")

    # sound

    def spoken(self, fact: lines.LineSpoken) -> None:
        self.said[fact.line] = (fact.text, self.line)

    def ended(self, fact: lines.LineEnded) -> None:
        text, line = self.said.pop(fact.line, ("", self.line))
        self.voice.spans.append(Span(SPOKEN, fact.started_ms, fact.ended_ms, text, line))

    def heard(self, fact: lines.Heard) -> None:
        what = fact.word.replace("_", " ") or fact.value or "not a command"
        label = what if fact.accepted else f"{what}: {fact.reason or 'refused'}"
        self.ear.spans.append(
            Span(
                HEARD if fact.accepted else REFUSED,
                fact.started_ms,
                max(fact.ended_ms, fact.started_ms + 1),
                label,
                self.line,
            )
        )

    # events

    def deviation(self, fact: troubles.Deviation) -> None:
        marks = self.events.marks
        told = marks and marks[-1].kind == SKIP and marks[-1].at_ms == fact.at_ms
        if fact.code != "mishap" and not told:  # the branch that follows has its own mark
            self.event(DEVIATION, fact.at_ms, fact.text)

    def branch(self, fact: troubles.BranchEntered) -> None:
        mishap = self.plan.mishaps.get(fact.mishap) if self.plan else None
        self.event(MISHAP, fact.at_ms, f"Mishap: {mishap.title if mishap else fact.mishap}")

    def correction(self, fact: steps.CorrectionMade) -> None:
        self.event(CORRECTION, fact.at_ms, f"Taken back: {step_name(self.plan, fact.step)}")

    def skipped(self, fact: steps.StepSkipped) -> None:
        # A skip is told as a deviation in the same moment; one mark says both.
        self.events.marks = [m for m in self.events.marks if m.at_ms != fact.at_ms or m.kind != DEVIATION]
        self.event(SKIP, fact.at_ms, f"Skipped: {step_name(self.plan, fact.step)}")

    def recovered(self, fact: troubles.Recovered) -> None:
        self.event(RECOVERY, fact.at_ms, f"Nobody watched for {span_words(fact.unwatched_ms)} ({fact.why})")

    def paused(self, fact: session.Paused) -> None:
        self.begin(self.events, PAUSED, fact.at_ms, "paused; physical timers went on")

    def returned(self, fact: session.Returned) -> None:
        running = self.open.get("events")
        if running and running.kind == PAUSED and fact.to != "paused":
            self.end(self.events, fact.at_ms)

    def person(self, fact: session.PersonChanged) -> None:
        self.event(NOTE, fact.at_ms, f"{fact.person} takes over from {fact.before}")

    def lost(self, fact: troubles.DeviceLost) -> None:
        self.event(NOTE, fact.at_ms, f"The {fact.device} was lost")


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
    troubles.DeviceLost: _Builder.lost,
    steps.CorrectionMade: _Builder.correction,
    steps.StepSkipped: _Builder.skipped,
    session.Paused: _Builder.paused,
    session.Returned: _Builder.returned,
    session.PersonChanged: _Builder.person,
}
