"""The naive model's lines of work: the procedure, the mishaps over it, what is owed, taken back and recovered."""

from __future__ import annotations

from assistant.procedure.model import plan as p

LOOKS = {p.CHECK, p.READING, p.WITNESS, p.INSTRUCT}


class Lines:
    def steps_of(self, line: dict) -> tuple[p.Step, ...]:
        return self.plan.mishaps[line["branch"]].steps if line["branch"] else self.plan.steps

    def any_step(self, step_id: str) -> p.Step:
        everything = [*self.plan.steps, *(s for m in self.plan.mishaps.values() for s in m.steps)]
        return next(s for s in everything if s.id == step_id)

    def holds(self, step: p.Step) -> bool:
        return all(self.options.get(when.option, False) == when.equals for when in step.when)

    def as_step(self, thing: tuple[str, ...]) -> p.Step:
        """A step of the plan, or what must be done so that one can begin."""
        kind, *rest = thing
        if kind == "step":
            return self.any_step(rest[0])
        name = ":".join(thing)
        if kind in ("open", "close"):
            opening = self.plan.openings[rest[0]]
            return p.Step(
                name, p.OPEN if kind == "open" else p.CLOSE, "", opening=rest[0], reach=opening.reach,
                policy=p.READ_BACK if kind == "open" else p.SINGLE,
            )
        if kind == "cycle":
            return p.Step(name, p.CYCLE, "", cycle=rest[0], reach=self.plan.cycles[rest[0]].reach)
        if kind == "move":
            return p.Step(name, p.MOVE, "", hands=rest[0])
        if kind == "machine":
            return p.Step(name, p.MACHINE, "", machine=rest[0], machine_value=rest[1], reach="")
        if kind == "wait":
            return p.Step(name, p.WAIT, "", wait_for=(rest[0],), reach="")
        return p.Step(name, p.INSTRUCT, "", reach="")

    # ---- what is next ----

    def choose(self) -> tuple[str, ...] | None:
        for group in self.plan.interlocks:
            both = [o for o in sorted(group) if self.openings[o] == "open"]
            if len(both) > 1:
                newest = max(both, key=lambda o: self.open_since.get(o, 0))
                return self.before(("close", newest))
        line = self.lines[-1]
        still = [
            s for s in self.steps_of(line)
            if s.id not in line["done"] and s.id not in line["skipped"] and self.holds(s)
        ]
        wanted = next((s for s in still if not self.can_wait(s)), still[0] if still else None)
        if line["branch"] and self.plan.mishaps[line["branch"]].word == "hand_over":
            ids = {s.id for s in self.steps_of(line)}
            if wanted is None or ids & (line["done"] | line["skipped"]):
                if "sign-in" not in line["done"] and self.person == line["person"]:
                    return ("sign-in",)
                if "microphone" not in line["done"]:
                    return ("microphone",)
        if wanted is not None:
            return self.before(("step", wanted.id))
        return ("end",) if line["branch"] else self.closing()

    def can_wait(self, step: p.Step) -> bool:
        """A cycle that broke when the work was past it isn't run again before something needs it, nor waited for."""
        main = self.lines[0]
        if len(self.lines) > 1 or step.id in main["done"] | main["skipped"] or not self.holds(step):
            return False
        names = [step.cycle] if step.kind == p.CYCLE else list(step.wait_for) if step.kind == p.WAIT else []
        if not names or any(self.cycles.get(name, {}).get("is") != "broken" for name in names):
            return False
        ids = [s.id for s in self.plan.steps]
        after = self.plan.steps[ids.index(step.id) + 1 :]
        return any(s.kind != p.WAIT and s.id in main["done"] for s in after)

    def closing(self) -> tuple[str, ...] | None:
        if self.wet:
            return ("wait", p.ALL_CONTACTS)
        for cycle, run in self.cycles.items():
            if run["is"] == "running":
                return ("wait", cycle)
        for opening in self.plan.openings.values():
            if opening.at_end and self.openings[opening.id] != opening.at_end:
                return self.before(("close" if opening.at_end == "closed" else "open", opening.id))
        for machine, value in self.plan.end_machines.items():
            if self.machines.get(machine) != value:
                return self.before(("machine", machine, value))
        return ("move", self.plan.end_hands) if self.hands != self.plan.end_hands else ("end",)

    def before(self, thing: tuple[str, ...], deep: int = 0) -> tuple[str, ...] | None:
        """The first thing to do so that `thing` can be done: itself, where nothing stands in its way."""
        if deep > 12:
            return None
        step = self.as_step(thing)
        if step.kind == p.WET and step.surface in self.wet and self.wet[step.surface]["step"] != step.id:
            return ("wait", step.surface)
        for kind, subject, value in self.needs(step):
            if kind == "hands" and value and self.hands != value:
                return self.before(("move", value), deep + 1)
            if kind == "opening" and self.openings[subject] != value:
                return self.before(("close" if value == "closed" else "open", subject), deep + 1)
            if kind == "cycle" and self.cycles.get(subject, {}).get("is") != "complete":
                if self.cycles.get(subject, {}).get("is") == "running":
                    return ("wait", subject)
                own = [s for s in self.plan.steps if s.kind == p.CYCLE and s.cycle == subject and self.can_wait(s)]
                return self.before(("step", own[0].id) if own else ("cycle", subject), deep + 1)
            if kind == "machine" and self.machines.get(subject) != value:
                return self.before(("machine", subject, value), deep + 1)
            if kind == "contact" and self.surfaces[subject] != "clean":
                if subject in self.wet:
                    return ("wait", subject)
                wets = [s for s in self.plan.steps if s.kind == p.WET and s.surface == subject and self.holds(s)]
                owed = [s for s in wets if s.id not in self.lines[0]["done"]]
                return self.before(("step", owed[0].id), deep + 1) if owed else None
        return thing

    def needs(self, step: p.Step) -> list[tuple[str, str, str]]:
        found = [(c.kind, c.subject, c.value) for c in step.requires]
        if step.kind == p.OPEN:
            found += [(c.kind, c.subject, c.value) for c in self.plan.openings[step.opening].opens_when]
            for group in self.plan.interlocks:
                if step.opening in group:
                    found += [("opening", other, "closed") for other in sorted(group - {step.opening})]
        elif step.kind == p.CLOSE:
            found += [(c.kind, c.subject, c.value) for c in self.plan.openings[step.opening].closes_when]
        elif step.kind == p.CYCLE:
            found += [(c.kind, c.subject, c.value) for c in self.plan.cycles[step.cycle].starts_when]
        elif step.kind == p.WAIT:
            running = [c for c, run in self.cycles.items() if run["is"] == "running"]  # that is what it waits for
            found += [
                ("cycle", name, "complete") for name in step.wait_for if name in self.plan.cycles and name not in running
            ]
        if step.kind not in (p.MOVE, p.WAIT):
            found.append(("hands", "", step.reach))
        return found

    def wait_over(self, step: p.Step) -> bool:
        for name in step.wait_for:
            if name in self.plan.cycles and self.cycles.get(name, {}).get("is") != "complete":
                return False
            if name in self.wet or (name == p.ALL_CONTACTS and self.wet):
                return False
        return True

    # ---- owed ----

    def owe_step(self, step_id: str, only_if_done: bool = False) -> None:
        lines = [line for line in self.lines if step_id in line["done"] or step_id in line["skipped"]]
        if only_if_done and not any(step_id in line["done"] for line in self.lines):
            return
        for line in lines:
            line["done"].discard(step_id)
            line["skipped"].discard(step_id)
        self.told = [t for t in self.told if t not in (("step", step_id), ("skip", step_id))]
        self.when_confirmed.pop(step_id, None)
        self.missed.discard(f"step:{step_id}")

    def owe_surfaces(self, surfaces: set[str], only: str = "") -> None:
        """Every done step that depended on these: what wetted them (`only` this one, where given), what was done
        to them, the waits for them, and what needed them finished."""
        found = []
        for line in self.lines:
            lost: set[str] = set()
            again: set[str] = set()
            for step in self.steps_of(line):
                wets = step.kind == p.WET and step.surface in surfaces and only in ("", step.id)
                works = not only and step.kind in (p.INSTRUCT, p.CHECK) and step.surface in surfaces
                waits = step.kind == p.WAIT and lost and (
                    p.ALL_CONTACTS in step.wait_for or any(s in step.wait_for for s in lost)
                )
                looks = step.kind in LOOKS and any(
                    (c.kind == "contact" and c.subject in lost) or (c.kind == "step" and c.subject in again)
                    for c in step.requires
                )
                if wets:
                    lost.add(step.surface)
                if (wets or works or waits or looks) and step.id in line["done"]:
                    again.add(step.id)
                    found.append(step.id)
        for step_id in found:
            self.owe_step(step_id)

    def lose_contact(self, surface: str) -> None:
        """Its time starts from zero; nothing before it is lost."""
        step = self.wet[surface]["step"]
        self.dry_off(surface, "dirty")
        self.owe_surfaces({surface}, step)

    # ---- taking back ----

    def correct(self, top: str) -> None:
        if top == "read back" or (top == "witness" and self.pile):
            self.drop_claim()
        elif top == "step" and self.quick_asked:
            self.quick_asked, self.asked_at = False, self.now
        elif top == "value back":
            self.read_value, self.asked_at = None, self.now
        elif top == "step" and self.step.kind == p.PATCH and self.patch_since is not None:
            self.leave_step()
            self.unask()
        elif self.told:
            self.take_back(self.told[-1])
        elif self.options and len(self.lines) == 1:
            self.answer_wrong()

    def answer_wrong(self) -> None:
        """The newest answer of the start no longer counts and is asked for again."""
        self.options.popitem()
        self.leave_step()
        self.unask()
        self.option = None

    def take_back(self, last: tuple[str, ...]) -> None:
        last_at = len(self.told) - 1 - self.told[::-1].index(last)
        self.told.pop(last_at)
        self.leave_step()
        self.unask()
        kind, *rest = last
        if kind == "rewet":
            surface = rest[0]
            if surface in self.wet:
                self.lose_contact(surface)
            elif self.surfaces[surface] == "clean":
                self.surfaces[surface] = "spoiled"
                main = self.lines[0]["done"]
                done = [s.id for s in self.plan.steps if s.surface == surface and s.id in main]
                if done:
                    self.owe_surfaces({surface}, done[-1])
            return
        if kind == "skip":
            self.again(rest[0])
            return
        step = self.as_step(last)
        if step.kind == p.WET:
            if self.surfaces[step.surface] == "clean":
                self.surfaces[step.surface] = "spoiled"
            if step.surface in self.wet:
                self.dry_off(step.surface, "dirty")
            self.owe_surfaces({step.surface}, step.id)
        elif step.kind == p.OPEN:
            self.close_it(step.opening)
        elif step.kind == p.CLOSE:
            self.open_it(step.opening, self.was_open_since.get(step.opening, self.now), corrected=True)
        elif step.kind == p.CYCLE:
            self.break_cycle(step.cycle)
        elif step.kind == p.MOVE:
            self.hands = self.hands_before.pop() if self.hands_before else self.plan.start_hands
        elif step.kind == p.MACHINE:
            earlier = [t for t in self.told if t[0] not in ("rewet", "skip")]
            values = [s.machine_value for s in map(self.as_step, earlier) if s.machine == step.machine and s.machine]
            self.machines[step.machine] = values[-1] if values else self.plan.start_machines[step.machine]
        elif step.kind == p.PATCH:
            self.patches.pop((self.plan.surfaces[step.surface].orientation, step.agent), None)
        elif last == ("sign-in",):
            self.person = self.lines[-1]["person"]
        self.again(rest[0] if kind == "step" else kind)

    def again(self, step_id: str) -> None:
        if any(step_id in line["done"] | line["skipped"] for line in self.lines):
            self.owe_step(step_id)
            return
        for mishap in self.plan.mishaps.values():
            ids = [s.id for s in mishap.steps]
            if step_id in ids and all(line["branch"] != mishap.id for line in self.lines):
                self.add_line(mishap.id)
                self.lines[-1]["done"] = {i for i in ids if i != step_id}

    def skipped(self) -> None:
        step = self.step
        self.lines[-1]["skipped"].add(step.id)
        self.told.append(("skip", step.id))
        self.leave_step()
        self.deviation("skipped", step.id)

    # ---- mishaps ----

    def named(self, word: str, began: int, ended: int) -> None:
        mishap = next((m for m in self.plan.mishaps.values() if m.word == word), None)
        if mishap is None:
            self.deviation("mishap" if word == "fire" else "mishap_unknown", word)
            if word == "fire":
                self.end("left")
        elif mishap.asks_which:
            self.ask_which(mishap.id, ())
        else:
            self.with_power_known(mishap, began, ended)

    def with_power_known(self, mishap: p.Mishap, began: int, ended: int) -> None:
        choices: tuple[str, ...] = ()
        if any(s.what == p.SPOIL_CHOSEN for s in mishap.spoils):
            choices = self.touchable(mishap.word, began)
            if len(choices) > 1:
                self.ask_which(mishap.id, choices)
                return
        self.enter(mishap, ended, choices[0] if choices else "")

    def ask_which(self, mishap: str, choices: tuple[str, ...]) -> None:
        if self.pile and self.pile[-1] in ("trouble", "which"):
            self.pile.pop()
        self.push("which")
        self.mishap, self.choices, self.dries = mishap, choices, ""

    def touchable(self, word: str, began: int) -> tuple[str, ...]:
        found = list(self.wet)
        found += [s for s, due in self.finished[-8:] if due >= began and s not in found]
        if word != "dry_surface" or not found:
            found = [s for s in list(self.surfaces)[::-1] if self.surfaces[s] == "clean" or s in found]
        return tuple(found)

    def enter(self, mishap: p.Mishap, said: int, surface: str) -> None:
        at_hand = self.step.surface if self.step else ""
        here = surface or (self.rewets[0] if self.rewets else at_hand or self.last_wetted)
        spoiled = self.spoiled(mishap, here, said)
        self.add_line(mishap.id)
        self.deviation("mishap", mishap.id)
        for name in self.plan.surfaces:
            if name in spoiled and self.surfaces[name] not in ("dirty", "spoiled"):
                self.dry_off(name, "spoiled")
        self.owe_surfaces(spoiled)
        for cycle in self.plan.cycles.values():
            if mishap.breaks_cycles or mishap.word in cycle.broken_by:
                self.break_cycle(cycle.id)
        if mishap.then == "leave":
            self.end("left")

    def add_line(self, mishap: str) -> None:
        """The person first: a new line of work over the others. The same mishap once more begins anew."""
        self.leave_step()
        self.unask()
        for line in [line for line in self.lines if line["branch"] == mishap]:
            self.lines[0]["skipped"] |= line["skipped"]
            self.lines.remove(line)
        self.stop_depth = min(self.stop_depth, len(self.lines))
        self.question_depth = min(self.question_depth, len(self.lines))
        self.lines.append({"branch": mishap, "done": set(), "skipped": set(), "person": self.person})

    def spoiled(self, mishap: p.Mishap, here: str, said: int) -> set[str]:
        found: set[str] = set()
        zones = {s.id: s.zone for s in self.plan.surfaces.values()}
        for spoil in mishap.spoils:
            if spoil.what == p.SPOIL_ALL:
                found |= set(zones)
            elif spoil.what == p.SPOIL_RUNNING:
                found |= set(self.wet) | {s for s, due in self.finished[-8:] if due > said}
            elif spoil.what == p.SPOIL_ZONE:
                zone = spoil.zone or zones.get(here, "")
                found |= {s for s, z in zones.items() if z == zone}
            elif spoil.what in (p.SPOIL_CURRENT, p.SPOIL_CHOSEN) and here:
                found.add(here)
            elif spoil.what == p.SPOIL_BELOW and here:
                at = self.plan.surfaces[here]
                found |= {s.id for s in self.plan.surfaces.values() if s.zone == at.zone and s.height > at.height}
                found |= set(at.beside)
        return found

    def leave_branch(self) -> None:
        line = self.lines.pop()
        self.lines[0]["skipped"] |= line["skipped"]
        if self.plan.mishaps[line["branch"]].then == "stop":
            self.end("stopped")

    # ---- after a break ----

    def recover(self, now: int, why: str) -> None:
        """Nobody watched: what was wet is wetted again, what ran starts again, and things are asked about."""
        if self.verdict:
            return
        self.now = now
        self.leave_step()
        self.unask()
        self.deviation("unwatched", why)
        for surface in list(self.wet):
            self.lose_contact(surface)
        for cycle, run in self.cycles.items():
            if run["is"] == "running":
                self.break_cycle(cycle)
            elif run["is"] == "complete":
                run["is"] = "broken"  # only started again where something still needs it
        self.questions = [("opening", o) for o in self.plan.openings]
        self.questions += [("hands", place) for place in self.places()[:-1]]
        standing = [t for t in self.told if t[0] not in ("rewet", "skip", "cycle")]
        if standing:
            self.questions.append(("last", standing[-1]))
        self.question_depth = len(self.lines)
        self.recovering = True
        self.second()

    def places(self) -> list[str]:
        lines = [*self.plan.steps, *(s for m in self.plan.mishaps.values() for s in m.steps)]
        used = {s.reach for s in lines} | {s.hands for s in lines} | {o.reach for o in self.plan.openings.values()}
        used |= {self.plan.start_hands, self.plan.end_hands}
        return [self.hands, *(r for r in (p.ROOM, p.GAUNTLETS, p.WINDOW) if r in used and r != self.hands)]

    def answer_question(self, yes: bool) -> None:
        kind, subject = self.questions.pop(0)
        self.asked_at = self.now
        if kind == "opening" and not yes:
            if self.openings[subject] == "open":
                self.close_it(subject)
            else:
                self.open_it(subject, self.now)
        elif kind == "hands":
            left = [q for q in self.questions if q[0] == "hands"]
            if yes:
                self.questions = [q for q in self.questions if q[0] != "hands"]
                if subject != self.hands:
                    self.hands_before.append(self.hands)
                    self.hands = subject
            elif not left:
                self.hands_before.append(self.hands)
                self.hands = self.places()[-1]
        if not self.questions:
            self.recovering = False
            if kind == "last" and not yes and subject in self.told:
                self.take_back(subject)
