"""What must hold after every fact, in every test that walks the core. Written from the issue, not from the code:
it keeps its own book of what was wet, running and open, fed by facts alone."""

from __future__ import annotations

from dataclasses import fields

from assistant.procedure.model.plan import Plan
from assistant.session import thresholds
from assistant.session.facts import contacts, lines, machine, session, steps, troubles
from assistant.session.facts.base import Fact
from assistant.session.state import FINAL_MODES, State


class Broken(AssertionError):
    """An invariant doesn't hold."""


def need(holds: bool, what: str) -> None:
    if not holds:
        raise Broken(what)


class Watch:
    """Follows one session. `fact` after every fact, `rest` after every decision."""

    def __init__(self, plan: Plan, state: State) -> None:
        self.plan = plan
        self.now = state.now_ms
        self.wet: dict[str, contacts.ContactStarted] = {}
        self.dries: dict[str, int] = {}
        self.cycles: dict[str, machine.CycleStarted] = {}
        self.open: set[str] = {o.id for o in plan.openings.values() if o.at_start == "open"}
        self.unsaid: troubles.Deviation | None = None
        self.two_open_said = False
        self.done: set[str] = set()
        self.held: set[str] = set()  # happened to interrupted work, to be said after the person
        self.untold: set[str] = set()  # completions not announced yet
        self.moved_by = ""
        self.spoken: dict[int, int] = {}  # line -> when it was about to be said

    def fact(self, before: State, fact: Fact, after: State) -> None:
        need(fact.at_ms >= self.now, "time goes backwards in the record")
        self.now = fact.at_ms
        if isinstance(fact, troubles.HeldSaid):
            self.held -= set(fact.about)
        if self.unsaid is not None:
            said = isinstance(fact, lines.LineSpoken) and fact.text == self.unsaid.text
            if isinstance(fact, troubles.HeldBack):  # it is said once nobody is in danger any more
                urgent = {m.id for m in self.plan.mishaps.values() if m.urgency != "work"}
                said = any(frame.branch in urgent for frame in before.frames)
                self.held.add(fact.about)
            need(said, f"the deviation {self.unsaid.code} has no spoken notice")
            self.unsaid = None
        need(before.mode not in FINAL_MODES or after.mode == before.mode, "something follows after the end")
        for name in ("_contact", "_cycle", "_opening", "_step", "_other"):
            getattr(self, name)(before, fact, after)

    def _contact(self, before: State, fact: Fact, after: State) -> None:
        if isinstance(fact, contacts.ContactStarted):
            step = self.plan.step(fact.step)
            need(fact.complete_at_ms >= fact.wet_since_ms + step.contact_ms, "a contact is too short from the start")
            need(fact.wet_since_ms <= fact.at_ms, "wet before it was said")
            need(fact.dries_at_ms <= fact.stroke_ms + step.wet_ms, "it stays wet longer than the file allows")
            need(fact.stroke_ms <= fact.wet_since_ms, "wet all over before the first stroke")
            self.wet[fact.surface], self.dries[fact.surface] = fact, fact.dries_at_ms
        elif isinstance(fact, contacts.RewetConfirmed):
            step = self.plan.step(self.wet[fact.surface].step)
            need(fact.at_ms < self.dries[fact.surface], "a re-wet came when it was dry")
            need(fact.dries_at_ms <= fact.claimed_ms + step.wet_ms, "drying counted from too late")
            self.dries[fact.surface] = fact.dries_at_ms
        elif isinstance(fact, contacts.ContactCompleted):
            start = self.wet.pop(fact.surface)
            contact = self.plan.step(start.step).contact_ms
            need(fact.at_ms >= start.wet_since_ms + contact, "a contact is complete before its time wet")
            need(self.dries[fact.surface] > start.complete_at_ms, "it had dried when it was called complete")
            self.untold.add(fact.surface)
        elif isinstance(fact, (contacts.ContactVoided, troubles.SurfaceSpoiled)):
            self.wet.pop(fact.surface, None)
            self.untold.discard(fact.surface)
        need(set(after.contacts) == set(self.wet), "the state's contacts differ from the record's")

    def _cycle(self, before: State, fact: Fact, after: State) -> None:
        if isinstance(fact, machine.CycleStarted):
            need(fact.due_ms - fact.started_ms >= self.plan.cycles[fact.cycle].duration_ms, "a cycle is shortened")
            need(fact.started_ms <= fact.at_ms, "a cycle starts in the future")
            self.cycles[fact.cycle] = fact
        elif isinstance(fact, machine.CycleCompleted):
            start = self.cycles.pop(fact.cycle)
            need(fact.at_ms >= start.started_ms + self.plan.cycles[fact.cycle].duration_ms, "a cycle ends too soon")
        elif isinstance(fact, machine.CycleBroken):
            self.cycles.pop(fact.cycle, None)

    def _opening(self, before: State, fact: Fact, after: State) -> None:
        if isinstance(fact, (steps.CorrectionMade, troubles.RecoveryAnswered, steps.StepConfirmed)):
            self.moved_by = type(fact).__name__
        if isinstance(fact, troubles.Deviation) and fact.code == "two_open":
            self.two_open_said = True
        if isinstance(fact, machine.OpeningMoved):
            (self.open.add if fact.to == "open" else self.open.discard)(fact.opening)
            if fact.to == "open":
                self.two_open_said = False
                for group in self.plan.interlocks:
                    if fact.opening in group and len(group & self.open) > 1:
                        # Only what was found so may be: a correction or an answer after a break, and it is said.
                        need(self.moved_by != "StepConfirmed", "two interlocked doors open by a step")

    def _step(self, before: State, fact: Fact, after: State) -> None:
        if isinstance(fact, (steps.StepConfirmed, steps.WaitEnded)):
            self.done.add(fact.step)
        elif isinstance(fact, steps.StepOwed):
            self.done.discard(fact.step)
        if isinstance(fact, steps.StepConfirmed):
            need(before.mode in ("step", "read_back", "value_back", "witness"), f"confirmed in mode {before.mode}")
            need(fact.claimed_ms <= fact.at_ms, "confirmed before it was said")
        if isinstance(fact, steps.WitnessGiven):
            need(fact.person.strip().casefold() != before.person.strip().casefold(), "witness is the technician")
        if isinstance(fact, lines.LineSpoken):
            self.spoken[fact.line] = fact.at_ms
        if isinstance(fact, lines.Heard) and fact.source == "voice" and before.open_lines and fact.accepted:
            over = fact.ended_ms >= min(self.spoken[n] for n in before.open_lines)
            need(not over or fact.word in ("stop", "repeat"), "a word spoken over the assistant counts")

    def _other(self, before: State, fact: Fact, after: State) -> None:
        if isinstance(fact, troubles.Deviation):
            self.unsaid = fact
        elif isinstance(fact, lines.Announced):
            self.untold -= set(fact.ends)
        elif isinstance(fact, session.VerdictReached):
            self._end(fact, after)

    def _end(self, fact: session.VerdictReached, after: State) -> None:
        if fact.verdict != "complete":
            return
        for step in self.plan.steps:
            if all(after.options.get(when.option, False) == when.equals for when in step.when):
                need(step.id in self.done, f"complete without {step.id}")
        need(not self.wet and not self.cycles and not fact.left_open, "complete while something runs")
        need(all(o.id not in self.open for o in self.plan.openings.values() if o.at_end == "closed"), "a door is open")
        need(not self.untold, f"never announced: {self.untold}")
        need(not self.held, f"never said: {self.held}")

    def rest(self, state: State) -> None:
        """After a decision: at rest, nothing due, every deviation said, nothing grown without bound."""
        need(self.unsaid is None, "the last deviation has no spoken notice")
        need(state.mode != "ready", "the session isn't at rest")
        need(not [t for t in thresholds(self.plan, state) if t.at_ms <= state.now_ms], "something due is left undone")
        for group in self.plan.interlocks:
            need(len(group & self.open) < 2 or self.two_open_said, "two interlocked doors open, unsaid")
        need(len(state.frames) <= 1 + len(self.plan.mishaps), "lines of work grow without bound")
        need(len(state.confirmed) <= 64 and len(state.under) <= 24, "the state grows without bound")


def same(one: State, two: State) -> list[str]:
    """The fields in which two states differ."""
    return [f.name for f in fields(State) if getattr(one, f.name) != getattr(two, f.name)]
