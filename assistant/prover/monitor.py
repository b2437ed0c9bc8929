"""Watches the facts of the core against the site's requirements, with code and bookkeeping of its own.

Nothing here asks the core whether a condition holds: doors, hands, cycles and wetness are followed from the facts as
a person at the enclosure would see them, so that a fault of plan or core shows.
"""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal, InvalidOperation

from assistant.procedure.plan import CHECK, CLOSE, CYCLE, INSTRUCT, MOVE, OPEN, READING, WAIT, WET, Plan
from assistant.prover.requirements import Requirements, Task
from assistant.prover.truth import Truth, WetNow
from assistant.session.facts.base import Fact
from assistant.session.state import State

Found = list[tuple[str, str]]  # (property, what is wrong)
_BRIDGE = "bridge:"


class Monitor:
    """Follows one plan. `follow` moves a Truth on by facts and returns what they break."""

    def __init__(self, plan: Plan, need: Requirements) -> None:
        self.plan = plan
        self.need = need
        self.steps = {s.id: s for s in plan.steps}
        for mishap in plan.mishaps.values():
            self.steps.update({s.id: s for s in mishap.steps})
        self.limited = [task for task in need.tasks if task.within_ms]
        self.handlers: dict[str, Callable[[Truth, Fact, Found], None]] = {
            name.removeprefix("_on_"): getattr(self, name) for name in dir(self) if name.startswith("_on_")
        }

    def start(self) -> Truth:
        """Before anything has happened."""
        return Truth(self.need)

    def follow(self, truth: Truth, facts: tuple[Fact, ...], now_ms: int) -> tuple[Truth, Found]:
        """The truth after `facts`, and what is broken by them, as (property, text)."""
        truth = truth.copy()
        truth.environment = False
        found: Found = []
        for fact in facts:
            handler = self.handlers.get(fact.KIND)
            if handler is not None:
                handler(truth, fact, found)
        self._limits(truth, now_ms, found)
        return truth, found

    def moments(self, truth: Truth, state: State) -> tuple[int, ...]:
        """When, by the files, something dries, is wet for long enough, or is late."""
        found = [wet.dries_ms for wet in truth.wet.values()]
        found += [wet.since_ms + self.need.contact_ms.get(wet.agent, 0) for wet in truth.wet.values()]
        for opening, since in truth.open_since.items():
            most = self.need.openings[opening].max_open_ms if opening in self.need.openings else 0
            if most and f"opening:{opening}" not in truth.missed:
                found.append(since + most + 1)
        for task in self.limited:
            if task.after in truth.confirmed_ms and task.id not in truth.done and f"step:{task.id}" not in truth.missed:
                found.append(truth.confirmed_ms[task.after] + task.within_ms + 1)
        step = self.steps.get(state.current)
        if step is not None and step.kind == WET and (step.agent, step.surface) in self.need.wet_ms:
            first = state.stroke_ms if state.stroke_ms >= 0 else state.since_ms
            found.append(first + self._wet_ms(truth, step.agent, step.surface))
        return tuple(found)

    # --- beginning and end ---

    def _on_session_begun(self, t: Truth, fact: Fact, found: Found) -> None:
        t.person = fact.person

    def _on_person_changed(self, t: Truth, fact: Fact, found: Found) -> None:
        t.person = fact.person

    def _on_option_answered(self, t: Truth, fact: Fact, found: Found) -> None:
        t.options = {**t.options, fact.option: fact.value}

    def _on_deviation(self, t: Truth, fact: Fact, found: Found) -> None:
        if fact.code == "dead_end":
            found.append(("no_dead_end", "there is nothing left to do that would lead on"))

    def _on_verdict_reached(self, t: Truth, fact: Fact, found: Found) -> None:
        t.over = fact.verdict
        if fact.verdict != "complete":
            return
        missing = [task for task in self.need.applies(t.options) if not self._is_done(t, task)]
        for task in missing[:3]:
            prop = "redo" if task.id in t.spoiled else "nothing_missing"
            what = "was spoiled and not done again" if prop == "redo" else "is missing"
            found.append((prop, f"the run ended as complete, but {task.id} ({task.kind}) {what}"))
        treated = {task.surface for task in self.need.tasks if task.id in t.treated}
        asked = {task.surface for task in self.need.applies(t.options)}
        never = {task.surface for task in self.need.tasks} - asked  # an answer at the start leaves these out
        for surface in sorted(self.need.covers - treated - never)[:3]:
            found.append(("nothing_missing", f"the run ended as complete, but {surface} was never treated"))
        if t.wet:
            found.append(("nothing_missing", f"the run ended as complete while a contact runs on {sorted(t.wet)[0]}"))
        for cycle, (status, _) in t.cycles.items():
            if status == "running":
                found.append(("nothing_missing", f"the run ended as complete while {cycle} runs"))
        for name, spec in self.need.openings.items():
            at = "open" if name in t.open_since else "closed"
            if at != spec.at_end:
                found.append(("end_state", f"the run ended as complete with {name} {at}"))
        for machine, value in self.need.machines_at_end.items():
            if t.machines.get(machine) != value:
                found.append(("end_state", f"the run ended as complete with {machine} {t.machines.get(machine)}"))
        if t.hands != self.need.end_hands:
            found.append(("end_state", f"the run ended as complete with the hands at: {t.hands}"))

    def _is_done(self, t: Truth, task: Task) -> bool:
        if task.kind == WET:
            return task.id in t.treated
        if task.kind in (INSTRUCT, OPEN, CLOSE, MOVE, "machine") and not task.role and not task.witnessed:
            return True  # leaves no trace but what other properties look at
        return task.id in t.done

    # --- steps ---

    def _on_step_started(self, t: Truth, fact: Fact, found: Found) -> None:
        t.environment = t.found_other = False
        t.current, t.read_back, t.witnessed, t.value = fact.step, "", "", ""
        bridge = fact.step.startswith(_BRIDGE)
        if t.must_end:
            found.append(("mishap_steps", f"work goes on although {t.must_end} ends the run"))
        if bridge and not t.departed and not fact.step.startswith(("bridge:wait:", "bridge:person:")):
            found.append(("stands_alone", f"the main line needs a step the site didn't write: {fact.step}"))
        kind, reach, opening, cycle = self._shape(fact.step)
        step = self.steps.get(fact.step)
        task = self.need.task(fact.step) if not fact.branch else None
        t.here = task.surface if task else step.surface if step else ""
        if kind not in (MOVE, WAIT) and reach and reach != t.hands:
            found.append(("hands", f"{fact.step} needs the hands at {reach}; they are at {t.hands}"))
        if task and task.read_from and t.hands not in task.read_from:
            found.append(("hands", f"{fact.step} can't be read from where the hands are: {t.hands}"))
        if not t.departed and self._is_idle(t, fact.step, kind, opening):
            found.append(("nothing_idle", f"{fact.step} ({kind}) asks for what is so already"))
        if kind == OPEN:
            self._may_open(t, opening, found)
        elif kind == CYCLE:
            self._may_start(t, cycle, found)
        if task:
            self._waits(t, task, found)

    def _shape(self, step_id: str) -> tuple[str, str, str, str]:
        """(kind, where the hands must be, opening, cycle). Where the files say where a thing is moved from, they
        count, not the plan's step."""
        if step_id.startswith(_BRIDGE):
            _, verb, subject = step_id.split(":", 2)
            kind = verb if verb in (OPEN, CLOSE, CYCLE, MOVE, WAIT) else INSTRUCT
            opening = subject if kind in (OPEN, CLOSE) else ""
            cycle = subject if kind == CYCLE else ""
            reach = ""
        else:
            step = self.steps.get(step_id)
            if step is None:
                return INSTRUCT, "", "", ""
            kind, reach, opening, cycle = step.kind, step.reach, step.opening, step.cycle
        if kind in (OPEN, CLOSE) and opening in self.need.openings:
            reach = self.need.openings[opening].reach
        elif kind == CYCLE and cycle in self.need.cycles:
            reach = self.need.cycles[cycle].reach
        return kind, reach, opening, cycle

    def _is_idle(self, t: Truth, step_id: str, kind: str, opening: str) -> bool:
        step = self.steps.get(step_id)
        if kind in (OPEN, CLOSE):
            return (opening in t.open_since) == (kind == OPEN)
        if kind == MOVE and step is not None:
            return step.hands == t.hands
        return kind == "machine" and step is not None and t.machines.get(step.machine) == step.machine_value

    def _waits(self, t: Truth, task: Task, found: Found) -> None:
        """Everything a wait of the file stands for must be over before a later step of the file begins."""
        at = self.need.order[task.id]
        if task.kind == WAIT:
            return
        for wait in self.need.tasks[:at]:
            if wait.kind != WAIT or not all(t.options.get(o, False) == v for o, v in wait.when):
                continue
            wait_at = self.need.order[wait.id]
            for surface, wet in t.wet.items():
                earlier = self.need.order.get(wet.step, wait_at) < wait_at
                if earlier and ("*" in wait.wait_for or surface in wait.wait_for):
                    found.append(("waits_kept", f"{task.id} begins while the contact on {surface} runs"))
                    return
            for name in wait.wait_for:
                if name in self.need.cycles and t.cycles.get(name, ("", 0))[0] == "running":
                    found.append(("waits_kept", f"{task.id} begins while {name} runs"))
                    return
            if wait.id not in t.done and not t.skipped and wait.wait_for and self._waited_before(t, wait, wait_at):
                found.append(("waits_kept", f"{task.id} begins, but nobody waited at {wait.id}"))
                return

    def _waited_before(self, t: Truth, wait: Task, at: int) -> bool:
        return not t.departed and not any(self.need.order.get(w.step, at) < at for w in t.wet.values())

    def _on_read_back_asked(self, t: Truth, fact: Fact, found: Found) -> None:
        if fact.what == "confirm":
            t.read_back = fact.step

    def _on_claim_dropped(self, t: Truth, fact: Fact, found: Found) -> None:
        t.read_back = ""

    def _on_witness_given(self, t: Truth, fact: Fact, found: Found) -> None:
        if fact.person and fact.person != t.person:
            t.witnessed = fact.step

    def _on_value_accepted(self, t: Truth, fact: Fact, found: Found) -> None:
        task = self.need.task(fact.step)
        if task is None:
            return
        if task.kind == READING:
            t.value = fact.value if _outside(fact.value, task.low, task.high) else ""
        if task.dated and self.plan.today and fact.value < self.plan.today:
            found.append(("values", f"the passed date {fact.value} was taken at {fact.step}"))

    def _on_check_answered(self, t: Truth, fact: Fact, found: Found) -> None:
        t.value = "" if fact.yes else "no"

    def _on_step_confirmed(self, t: Truth, fact: Fact, found: Found) -> None:
        step_id = fact.step
        kind, _, opening, _ = self._shape(step_id)
        need = self.need.openings.get(opening)
        if kind == OPEN and need and need.read_back and t.read_back != step_id:
            found.append(("read_back", f"{step_id} opens {opening} without a read back"))
        task = self.need.task(step_id) if not fact.branch else None
        if task:
            if task.witnessed and t.witnessed != step_id:
                found.append(("nothing_missing", f"{step_id} was confirmed without its witness"))
            if t.value and not task.pass_outside and task.kind in (READING, CHECK):
                found.append(("values", f"{step_id} was confirmed although the answer was {t.value}"))
            t.confirmed_ms = {**t.confirmed_ms, step_id: fact.claimed_ms}
        if kind not in (WET, CYCLE):
            t.done |= {step_id}
        t.current = ""
        t.value = ""

    def _on_wait_ended(self, t: Truth, fact: Fact, found: Found) -> None:
        task = self.need.task(fact.step)
        if task is not None and not fact.branch:
            for name in task.wait_for:
                if name in self.need.cycles and t.cycles.get(name, ("", 0))[0] != "complete":
                    found.append(("waits_kept", f"{fact.step} ended, but {name} isn't complete"))
        t.done |= {fact.step}

    def _on_step_skipped(self, t: Truth, fact: Fact, found: Found) -> None:
        t.departed = True
        t.skipped |= {fact.step}

    def _on_step_owed(self, t: Truth, fact: Fact, found: Found) -> None:
        t.departed = True
        task = self.need.task(fact.step)
        if task is not None and task.kind == WAIT:
            t.done -= {fact.step}

    def _on_correction_made(self, t: Truth, fact: Fact, found: Found) -> None:
        """What the technician takes back wasn't so."""
        t.departed = t.environment = True
        if fact.step.startswith("rewet:"):
            t.dry(fact.step.removeprefix("rewet:"))
            return
        if fact.step.startswith("skip:"):
            t.skipped -= {fact.step.removeprefix("skip:")}
            return
        kind, _, opening, cycle = self._shape(fact.step)
        t.done -= {fact.step}
        step = self.steps.get(fact.step)
        if kind == WET and step is not None:
            t.treated -= {fact.step}
            wet = t.wet.get(step.surface)
            if wet is not None and wet.step == fact.step:
                t.dry(step.surface)
        elif kind == CLOSE:
            self._opened(t, opening, fact.at_ms)
        elif kind == OPEN:
            t.set_open(opening, "closed", fact.at_ms)
        elif kind == CYCLE:
            t.break_cycle(cycle)

    # --- wet surfaces ---

    def _on_contact_started(self, t: Truth, fact: Fact, found: Found) -> None:
        surface, step = fact.surface, fact.step
        wet = self._wet_ms(t, fact.agent, surface)
        since = max(fact.wet_since_ms, t.confirmed_ms.get(step, 0))  # nobody has said before that it is wet all over
        t.set_wet(surface, WetNow(step, fact.agent, since, fact.stroke_ms + wet))

    def _wet_ms(self, t: Truth, agent: str, surface: str) -> int:
        wet = self.need.wet_ms.get((agent, surface), 0)
        spec = self.need.surfaces.get(surface)
        patch = t.patch.get((spec.orientation if spec else "", agent))
        return wet if patch is None else min(wet, patch)

    def _on_patch_dried(self, t: Truth, fact: Fact, found: Found) -> None:
        t.patch = {**t.patch, (fact.orientation, fact.agent): fact.measured_ms}

    def _on_rewet_asked(self, t: Truth, fact: Fact, found: Found) -> None:
        wet = t.wet.get(fact.surface)
        step = self.steps.get(wet.step) if wet else None
        if step is not None and step.reach and step.reach != t.hands:
            found.append(("hands", f"re-wetting {fact.surface} needs the hands at {step.reach}"))

    def _on_rewet_confirmed(self, t: Truth, fact: Fact, found: Found) -> None:
        wet = t.wet.get(fact.surface)
        if wet is None:
            return
        if fact.claimed_ms >= wet.dries_ms:
            t.dry(fact.surface)  # too late: from here on nothing counts for it
            return
        t.again_wet(fact.surface, fact.stroke_ms + self._wet_ms(t, wet.agent, fact.surface))

    def _on_surface_dried(self, t: Truth, fact: Fact, found: Found) -> None:
        t.departed = True
        if fact.phase == "contact":
            t.dry(fact.surface)

    def _on_contact_voided(self, t: Truth, fact: Fact, found: Found) -> None:
        t.dry(fact.surface)

    def _on_contact_completed(self, t: Truth, fact: Fact, found: Found) -> None:
        wet = t.wet.get(fact.surface)
        if wet is None:
            undone = any(x.id in t.spoiled and x.surface == fact.surface for x in self.need.tasks)
            why = "although a mishap spoiled it" if undone else "although it isn't wet"
            found.append(("redo" if undone else "contact_time", f"{fact.surface} is called complete {why}"))
            return
        need = self.need.contact_ms.get(wet.agent, 0)
        if fact.due_ms - wet.since_ms < need:
            found.append((
                "contact_time",
                f"{fact.surface} is called complete after {(fact.due_ms - wet.since_ms) / 1000:g} s; "
                f"{wet.agent} needs {need / 1000:g} s",
            ))
        elif fact.due_ms >= wet.dries_ms and need:
            found.append(("contact_time", f"{fact.surface} is called complete although it had dried before"))
        elif fact.at_ms < fact.due_ms:
            found.append(("contact_time", f"{fact.surface} is called complete before its time"))
        task = self.need.task(wet.step)
        if task is None or (task.agent == wet.agent and task.surface == fact.surface):
            t.treated |= {wet.step}
            t.spoiled -= {wet.step}
        t.dry(fact.surface)

    # --- the enclosure ---

    def _holds(self, t: Truth, cond: tuple[str, str, str]) -> bool:
        kind, subject, value = cond
        if kind == "opening":
            return (subject in t.open_since) == (value == "open")
        if kind == "cycle":
            return t.cycles.get(subject, ("", 0))[0] == "complete"
        if kind == "machine":
            return t.machines.get(subject) == value
        if kind == "hands":
            return not value or t.hands == value
        if kind == "contact":
            return subject not in t.wet
        return True

    def _may_open(self, t: Truth, opening: str, found: Found) -> None:
        need = self.need.openings.get(opening)
        if need is None or opening in t.open_since:
            return
        for group in self.need.interlocks:
            for other in sorted(group - {opening}) if opening in group else ():
                if other in t.open_since:
                    found.append(("interlock", f"{opening} is opened while {other} is open"))
        for cond in need.opens_when:
            if not self._holds(t, cond):
                found.append(("opening_conditions", f"{opening} is opened, but {_cond(cond)} doesn't hold"))
        fans_off = [fan for fan in self.need.fans if t.machines.get(fan) == "off"]
        if need.chamber and fans_off:
            found.append(("fan", f"{opening} is opened with the fan off"))

    def _may_start(self, t: Truth, cycle: str, found: Found) -> None:
        need = self.need.cycles.get(cycle)
        for cond in need.starts_when if need else ():
            if not self._holds(t, cond):
                found.append(("opening_conditions", f"{cycle} is started, but {_cond(cond)} doesn't hold"))

    def _opened(self, t: Truth, opening: str, at_ms: int) -> None:
        if opening not in t.open_since:
            t.missed -= {f"opening:{opening}"}
        t.set_open(opening, "open", at_ms)
        for cycle, need in self.need.cycles.items():
            if opening in need.broken_by_openings:
                t.break_cycle(cycle)

    def _on_opening_moved(self, t: Truth, fact: Fact, found: Found) -> None:
        if fact.to == "closed":
            t.set_open(fact.opening, "closed", fact.at_ms)
            return
        if not t.environment:
            self._may_open(t, fact.opening, found)
            need = self.need.openings.get(fact.opening)
            if need is not None and need.reach != t.hands:
                found.append(("hands", f"{fact.opening} is opened from {need.reach}; the hands are at {t.hands}"))
        self._opened(t, fact.opening, fact.at_ms)

    def _on_hands_moved(self, t: Truth, fact: Fact, found: Found) -> None:
        t.hands = fact.to

    def _on_machine_set(self, t: Truth, fact: Fact, found: Found) -> None:
        t.machines = {**t.machines, fact.machine: fact.value}
        chamber = [o for o in t.open_since if o in self.need.openings and self.need.openings[o].chamber]
        if fact.machine in self.need.fans and fact.value == "off" and chamber and not t.environment:
            found.append(("fan", f"the fan is switched off while {chamber[0]} is open"))

    def _on_cycle_started(self, t: Truth, fact: Fact, found: Found) -> None:
        self._may_start(t, fact.cycle, found)
        t.set_cycle(fact.cycle, "running", fact.started_ms)
        task = next((x.id for x in self.need.tasks if x.kind == CYCLE and x.cycle == fact.cycle
                     and x.id in t.confirmed_ms and t.confirmed_ms[x.id] == fact.started_ms), "")
        t.cycle_task = {**t.cycle_task, fact.cycle: task}

    def _on_cycle_completed(self, t: Truth, fact: Fact, found: Found) -> None:
        status, since = t.cycles.get(fact.cycle, ("", 0))
        need = self.need.cycles.get(fact.cycle)
        if status != "running":
            found.append(("cycle_time", f"{fact.cycle} is called complete although it was broken"))
        elif need and fact.due_ms - since < need.floor_ms:
            found.append((
                "cycle_time",
                f"{fact.cycle} is called complete after {(fact.due_ms - since) / 1000:g} s; "
                f"it needs {need.floor_ms / 1000:g} s",
            ))
        elif fact.at_ms < fact.due_ms:
            found.append(("cycle_time", f"{fact.cycle} is called complete before its time"))
        t.set_cycle(fact.cycle, "complete", since)
        if t.cycle_task.get(fact.cycle):
            t.done |= {t.cycle_task[fact.cycle]}
            t.spoiled -= {t.cycle_task[fact.cycle]}

    def _on_cycle_broken(self, t: Truth, fact: Fact, found: Found) -> None:
        t.break_cycle(fact.cycle)

    def _on_limit_missed(self, t: Truth, fact: Fact, found: Found) -> None:
        t.missed |= {fact.limit}
        t.departed = True

    def _limits(self, t: Truth, now_ms: int, found: Found) -> None:
        if t.over:
            return
        for opening, since in t.open_since.items():
            most = self.need.openings[opening].max_open_ms if opening in self.need.openings else 0
            if most and now_ms - since > most and f"opening:{opening}" not in t.missed:
                found.append(("limits", f"{opening} stays open beyond {most / 1000:g} s and nobody says so"))
                t.missed |= {f"opening:{opening}"}
        for task in self.limited:
            if task.after in t.confirmed_ms and task.id not in t.done:
                limit = f"step:{task.id}"
                late = now_ms - t.confirmed_ms[task.after] > task.within_ms
                applies = all(t.options.get(o, False) == v for o, v in task.when)
                if late and applies and not t.skipped and limit not in t.missed:
                    found.append(("limits", f"{task.id} is later than allowed and nobody says so"))
                    t.missed |= {limit}

    # --- troubles ---

    def _on_branch_entered(self, t: Truth, fact: Fact, found: Found) -> None:
        t.departed = True
        t.branches = (*t.branches, fact.mishap)
        need = self.need.mishaps.get(fact.mishap)
        again = getattr(fact, "done", ())
        if need is None or again:
            return
        t.done -= set(need.steps)
        for surface in self._spoiled(t, need, fact.surface):
            wet = t.wet.get(surface)
            lost = {x.id for x in self.need.tasks if x.kind == WET and x.surface == surface and x.id in t.treated}
            if wet is not None:
                lost.add(wet.step)
            if need.word == "dry_surface" and wet is not None:
                lost = {wet.step}  # only what was wet has dried
            t.dry(surface)
            t.treated -= lost
            t.spoiled |= lost
        for cycle, spec in self.need.cycles.items():
            if need.breaks_cycles or need.word in spec.broken_by:
                if t.cycles.get(cycle, ("", 0))[0] in ("running", "complete"):
                    t.break_cycle(cycle)
                    task = t.cycle_task.get(cycle)
                    if task:
                        t.done -= {task}
                        t.spoiled |= {task}

    def _spoiled(self, t: Truth, need, chosen: str) -> set[str]:
        here = t.here or t.last_wet
        found: set[str] = set()
        for what, zone, surfaces in need.spoils:
            if what == "all":
                found |= set(self.need.surfaces)
            elif what == "named":
                found |= set(surfaces)
            elif what == "running":
                found |= set(t.wet)
            elif what == "chosen":
                found |= {chosen} - {""}
            elif what == "zone":
                spec = self.need.surfaces.get(here)
                zone = zone or (spec.zone if spec else "")
                found |= {s for s, x in self.need.surfaces.items() if x.zone == zone}
            elif here:
                at = self.need.surfaces[here]
                if what == "current":
                    found.add(here)
                elif what == "below":
                    found |= {s for s, x in self.need.surfaces.items() if x.zone == at.zone and x.height > at.height}
                    found |= set(at.beside)
        return found

    def _on_branch_left(self, t: Truth, fact: Fact, found: Found) -> None:
        need = self.need.mishaps.get(fact.mishap)
        missing = [s for s in need.steps if s not in t.done] if need and not t.skipped else []
        if missing:
            found.append(("mishap_steps", f"work goes on after {fact.mishap} without {missing[0]}"))
        t.branches = t.branches[:-1]
        t.here = ""
        if need and need.then != "resume":
            t.must_end = fact.mishap

    def _on_recovered(self, t: Truth, fact: Fact, found: Found) -> None:
        """Nobody watched: nothing wet counts, no cycle serves as a condition any more."""
        t.departed = True
        t.wet = {}
        for cycle in list(t.cycles):
            t.break_cycle(cycle)
        t.here = ""

    def _on_recovery_answered(self, t: Truth, fact: Fact, found: Found) -> None:
        if not fact.yes:
            t.environment = t.found_other = True


def _outside(value: str, low: str, high: str) -> bool:
    try:
        number = Decimal(value)
    except InvalidOperation:
        return True
    return bool((low and number < Decimal(low)) or (high and number > Decimal(high)))


def _cond(cond: tuple[str, str, str]) -> str:
    kind, subject, value = cond
    return f"{kind} {subject} {value}".replace("  ", " ")
