"""The naive model's enclosure: what is wet, running, open, and where the hands are; and what a confirmation does."""

from __future__ import annotations

from datetime import date
from decimal import Decimal, InvalidOperation

from assistant.procedure.model import plan as p


class World:
    MISHAPS = {
        "torn_glove", "splash", "spill", "pressure_alarm", "power_cut", "dropped_item", "dry_surface", "wipe_reused",
        "agent_out", "unwell", "hand_over", "fire", "touched",
    }

    def __init__(self, plan: p.Plan, person: str, options: dict[str, bool], now: int) -> None:
        self.plan, self.person, self.options, self.now = plan, person, dict(options), now
        self.verdict = ""
        self.completed: list[tuple[int, str, int]] = []
        self.deviations: list[tuple[int, str, str]] = []
        self.surfaces = dict.fromkeys(plan.surfaces, "dirty")
        self.wet: dict[str, dict] = {}
        self.cycles: dict[str, dict] = {}
        self.openings = {o.id: o.at_start for o in plan.openings.values()}
        self.open_since: dict[str, int] = {}
        self.was_open_since: dict[str, int] = {}
        self.hands, self.hands_before = plan.start_hands, []
        self.machines = dict(plan.start_machines)
        self.patches: dict[tuple[str, str], int] = {}
        self.finished: list[tuple[str, int]] = []  # contact ends, newest last
        self.lines = [{"branch": "", "done": set(), "skipped": set(), "person": person}]
        self.told: list[tuple[str, ...]] = []  # what can be taken back
        self.when_confirmed: dict[str, int] = {}
        self.missed: set[str] = set()
        self.rewets: list[str] = []
        self.last_wetted = ""
        self.dried: dict[str, int] = {}  # how often a surface has dried since it was last finished or asked about
        self.questions: list[tuple[str, str]] = []
        self.question_depth = self.stop_depth = 0
        self.thing: tuple[str, ...] = ()
        self.about, self.since = "", now
        self.leave_step()
        self.go_on()
        self.second()

    def deviation(self, code: str, about: str) -> None:
        self.deviations.append((self.now, code, about))

    def stays_wet(self, step: p.Step) -> int:
        """The patch test's time where there is one, never longer than the file's."""
        patch = self.patches.get((self.plan.surfaces[step.surface].orientation, step.agent))
        return step.wet_ms if patch is None else min(patch, step.wet_ms)

    @staticmethod
    def comes_too_late(step: p.Step, stays: int) -> bool:
        """A re-wet, where the surface stays wet for `stays` ms today and not as long as the file says."""
        return stays < step.wet_ms and stays <= step.lead_ms and stays <= step.contact_ms

    def dry_off(self, surface: str, becomes: str) -> None:
        self.wet.pop(surface, None)
        self.surfaces[surface] = becomes
        if self.rewets[:1] == [surface]:
            self.asked_at = self.now  # what is asked for now is another one
        self.rewets = [s for s in self.rewets if s != surface]

    def all_done(self) -> bool:
        plan, main = self.plan, self.lines[0]
        for step in plan.steps:
            if self.holds(step) and step.id not in main["done"]:
                return False
            if self.holds(step) and step.kind == p.WET and self.surfaces[step.surface] != "clean":
                return False
        shut = all(not o.at_end or self.openings[o.id] == o.at_end for o in plan.openings.values())
        machines = all(self.machines.get(m) == v for m, v in plan.end_machines.items())
        running = self.wet or any(run["is"] == "running" for run in self.cycles.values())
        return shut and machines and not running and not main["skipped"] and self.hands == plan.end_hands

    # ---- confirmations and what they do ----

    def finish(self, ended: int) -> None:
        """The step at hand is confirmed by what ended at `ended`."""
        step, thing, stroke, since = self.step, self.thing, self.stroke, self.since
        first = self.claimed if self.claimed is not None else ended
        patch_since = self.patch_since
        self.told.append(thing)
        self.when_confirmed[step.id] = ended
        if thing[0] == "step":
            self.lines[-1]["done"].add(step.id)
            self.lines[-1]["skipped"].discard(step.id)
        elif thing == ("microphone",):
            self.lines[-1]["done"].add("microphone")
        self.leave_step()
        if step.kind == p.WET:
            self.wet[step.surface] = {
                "step": step.id, "until": ended + step.contact_ms, "stroke": min(ended, since if stroke is None else stroke),
                "stays": self.stays_wet(step), "lead": step.lead_ms, "asked": None, "again": None,
            }
            self.surfaces.pop(step.surface, None)  # the order is that of wetting
            self.surfaces[step.surface] = "wet"
            self.last_wetted = step.surface
        elif step.kind == p.PATCH:
            measured = first - patch_since
            key = (self.plan.surfaces[step.surface].orientation, step.agent)
            self.patches[key] = min(measured, step.wet_ms)
            short = [s for s in self.plan.steps if s.kind == p.WET and self.comes_too_late(s, self.stays_wet(s))]
            if short:
                self.deviation("patch_short", step.id)
        elif step.kind == p.OPEN:
            self.open_it(step.opening, min(first, ended))
        elif step.kind == p.CLOSE:
            self.close_it(step.opening)
        elif step.kind == p.MOVE:
            self.hands_before.append(self.hands)
            self.hands = step.hands
        elif step.kind == p.MACHINE:
            self.machines[step.machine] = step.machine_value
        elif step.kind == p.CYCLE:
            due = ended + self.plan.cycles[step.cycle].duration_ms
            self.cycles[step.cycle] = {"is": "running", "due": due}

    def wetted_again(self, surface: str) -> None:
        """Counts from now on; dries first where it was wetted first: at the said stroke, else when asked."""
        contact = self.wet[surface]
        contact["stroke"] = contact["asked"] if contact["again"] is None else contact["again"]
        contact["stays"] = self.stays_wet(self.any_step(contact["step"]))
        contact["asked"] = contact["again"] = None
        self.rewets.remove(surface)
        self.last_wetted = surface
        self.asked_at = self.now
        self.told.append(("rewet", surface))

    def open_it(self, opening: str, since: int, corrected: bool = False) -> None:
        self.openings[opening] = "open"
        self.open_since.setdefault(opening, since)  # opened twice: its limit runs from the first
        self.missed.discard(f"opening:{opening}")
        for cycle in self.plan.cycles.values():
            run = self.cycles.get(cycle.id)
            if opening in cycle.broken_by_openings and run is not None and run["is"] != "broken":
                was = run["is"]
                run["is"] = "broken"
                if was == "running":
                    self.owe_cycle(cycle.id)
                    if not corrected:
                        self.deviation("cycle_broken", cycle.id)
        for group in self.plan.interlocks:
            if opening in group and sum(self.openings[o] == "open" for o in group) > 1:
                self.deviation("two_open", opening)

    def close_it(self, opening: str) -> None:
        self.openings[opening] = "closed"
        if opening in self.open_since:
            self.was_open_since[opening] = self.open_since.pop(opening)
        self.missed.discard(f"opening:{opening}")

    def owe_cycle(self, cycle: str) -> None:
        for line in self.lines:
            for step in self.steps_of(line):
                mine = step.cycle == cycle if step.kind == p.CYCLE else step.kind == p.WAIT and cycle in step.wait_for
                if mine:
                    self.owe_step(step.id, only_if_done=True)

    def break_cycle(self, cycle: str) -> None:
        """By a mishap or a correction: running or complete, it starts from zero."""
        if self.cycles.get(cycle, {}).get("is") in ("running", "complete"):
            self.cycles[cycle]["is"] = "broken"
            self.owe_cycle(cycle)

    # ---- values ----

    def usable(self, text: str) -> bool:
        kind = self.step.value_kind
        try:
            if kind == "number":
                return Decimal(text).is_finite()
            if kind == "date":
                date.fromisoformat(text)
        except (InvalidOperation, ValueError):
            return False
        return bool(text)

    def take_value(self, ended: int) -> None:
        step, text = self.step, self.read_value
        problem = False
        if step.value_kind == "number":
            problem = bool(step.low and Decimal(text) < Decimal(step.low))
            problem |= bool(step.high and Decimal(text) > Decimal(step.high))
        elif step.value_kind == "date" and step.not_before_today:
            problem = text < self.plan.today
        if problem and step.kind == p.NOTE:
            self.deviation("value_refused", step.id)
            self.read_value, self.asked_at = None, self.now
            return
        if problem:
            self.deviation("reading_outside", step.id)
        self.finish(ended)
