"""The naive model: one mutable object, time in whole seconds, everything looked at anew each second.

Written from the issue's text. It knows the Plan's plain values (what the site wrote) and nothing of the core. Where
the core keeps deadlines, this counts; where the core has a mode table, this has a pile of open questions.
Nothing is spoken here: it tells what was completed, what departed from the procedure, and how it ended.
"""

from __future__ import annotations

from assistant.procedure.model import plan as p
from tests.session.naive.lines import Lines
from tests.session.naive.world import World

SECOND = 1000
# A word begun before the question came up can't answer it.
ANSWERS = {"confirm", "no", "started", "rewetted", "skip", "cancel", "resume", "computer", "enclosure"}
AT_STEP = {"step", "value", "value back", "read back", "witness", "wait"}
LOOKS = {p.CHECK, p.READING, p.WITNESS, p.INSTRUCT}


class Naive(World, Lines):
    """Give it inputs with `word`, `value`, `witness`, `sign_in`, `recover`; let time pass with `until`."""

    # ---- time ----

    def until(self, now: int) -> None:
        """Second by second up to `now`, that second included."""
        while self.now < now:
            self.now += SECOND
            self.second()

    def second(self) -> None:
        """What this second brings, until it brings nothing more."""
        while not self.verdict:
            happened = self.rewet_prompts(overdue=True)
            happened |= self.drying()
            happened |= self.limits()
            happened |= self.rewet_prompts()
            happened |= self.completions()
            if not happened:
                break
            self.go_on()

    def drying(self) -> bool:
        """Dry at the very second counts as dry, and comes before everything else."""
        happened = False
        for surface in sorted(self.wet):
            contact = self.wet[surface]
            if self.now - contact["stroke"] >= contact["stays"]:
                self.lose_contact(surface)
                self.deviation("dried_contact", surface)
                self.dried[surface] = self.dried.get(surface, 0) + 1
                happened = True
        step = self.step
        if step is not None and step.kind == p.WET and self.stays_wet(step) > 0:
            first = self.stroke if self.stroke is not None else self.since
            if self.now - first >= self.stays_wet(step):
                self.deviation("dried_wetting", step.surface)
                self.dried[step.surface] = self.dried.get(step.surface, 0) + 1
                self.step = None
                self.stroke = None
                self.quick_asked = False
                self.pile = [q for q in self.pile if q not in ("read back", "witness")]
                self.asked_at = self.now
                happened = True
        return happened

    def limits(self) -> bool:
        happened = False
        for limit, since, most in self.running_limits():
            if limit not in self.missed and self.now - since >= most:
                self.missed.add(limit)
                self.deviation("limit_opening_missed" if limit.startswith("opening") else "limit_step_missed", limit)
                happened = True
        return happened

    def running_limits(self) -> list[tuple[str, int, int]]:
        found = []
        for opening, since in self.open_since.items():
            if self.plan.openings[opening].max_open_ms:
                found.append((f"opening:{opening}", since, self.plan.openings[opening].max_open_ms))
        for line in self.lines:
            for step in self.steps_of(line):
                if step.within_ms and step.after_step in self.when_confirmed and self.holds(step):
                    if step.id not in line["done"] and step.id not in line["skipped"]:
                        found.append((f"step:{step.id}", self.when_confirmed[step.after_step], step.within_ms))
        return found

    def rewet_prompts(self, overdue: bool = False) -> bool:
        """Ask for a re-wet in time, if the person could do it now: hands there, and no other question open."""
        happened = False
        waiting = []
        for surface, contact in self.wet.items():
            dries = contact["stroke"] + contact["stays"]
            if dries > contact["until"] or contact["asked"] is not None:
                continue  # it stays wet long enough, or it has been asked for
            at = max(1, dries - contact["lead"])
            if at < self.now or (at == self.now and not overdue):
                waiting.append((at, surface))
        for _, surface in sorted(waiting):
            if self.top() not in AT_STEP | {"paused", "rewet"}:
                continue
            if not self.can_get_at(surface):
                continue
            self.wet[surface]["asked"] = self.now
            self.rewets.append(surface)
            if self.top() != "rewet":
                self.under_asked, self.rewet_asked = self.asked_at, self.now
                self.push("rewet")
            self.asked_at = self.now if len(self.rewets) == 1 else self.asked_at
            happened = True
        return happened

    def completions(self) -> bool:
        happened = False
        for surface in sorted(self.wet):
            if self.now >= self.wet[surface]["until"]:
                due = self.wet[surface]["until"]
                self.completed.append((self.now, surface, due))
                self.finished.append((surface, due))
                self.dry_off(surface, "clean")
                self.dried.pop(surface, None)
                happened = True
        for cycle, run in self.cycles.items():
            if run["is"] == "running" and self.now >= run["due"]:
                run["is"] = "complete"
                self.completed.append((self.now, cycle, run["due"]))
                happened = True
        return happened

    # ---- what is open ----

    def top(self) -> str:
        """The question that is open now."""
        if self.pile:
            return self.pile[-1]
        if self.recovering:
            return "recover"
        if self.option is not None:
            return "option"
        if self.step is None:
            return "nothing"
        if self.step.kind == p.WAIT:
            return "wait"
        if self.step.kind == p.WITNESS:
            return "witness"
        if self.step.kind in (p.READING, p.NOTE):
            return "value back" if self.read_value is not None else "value"
        return "step"

    def push(self, question: str) -> None:
        self.pile.append(question)
        self.asked_at = self.now

    def pop(self) -> None:
        self.pile.pop()
        self.asked_at = self.under_asked = self.now

    def leave_step(self) -> None:
        """Whatever was open is given up; no re-wet is being asked for (each is asked for anew when it can be)."""
        self.step, self.option, self.recovering, self.pile = None, None, False, []
        self.stroke, self.claimed, self.read_value, self.patch_since = None, None, None, None
        self.quick_asked, self.choices, self.mishap, self.dries = False, (), None, ""
        self.asked_at = self.now

    def unask(self) -> None:
        for surface in self.rewets:
            self.wet[surface]["asked"] = None
            self.wet[surface]["again"] = None
        self.rewets = []

    def begin_step(self, thing: tuple[str, ...]) -> None:
        self.leave_step()
        self.step = self.as_step(thing)
        self.thing = thing
        self.since = self.now

    def begin_or_ask(self, thing: tuple[str, ...]) -> None:
        """A surface that has dried time and again isn't wetted once more before it was asked what to try."""
        step, most = self.as_step(thing), self.plan.ask_after_dryings
        if step.kind != p.WET or not most or self.dried.get(step.surface, 0) < most:
            self.begin_step(thing)
            return
        self.deviation("dries_repeatedly", step.surface)
        self.dries = step.surface
        self.push("which")
        self.choices = ("patch",) if self.patch_of(step) else ()
        self.choices += ("smaller", "stop")

    def patch_of(self, wet: p.Step) -> str:
        lies = self.plan.surfaces[wet.surface].orientation
        tests = [s for s in self.plan.steps if s.kind == p.PATCH and s.agent == wet.agent and self.holds(s)]
        here = [s.id for s in tests if self.plan.surfaces[s.surface].orientation == lies]
        return here[0] if here and len(self.lines) == 1 else ""

    def try_remedy(self, remedy: str) -> None:
        surface, self.dries = self.dries, ""
        self.dried.pop(surface, None)
        if remedy == "stop":
            self.stop()
            return
        self.back()
        if remedy == "patch":
            wet = next(
                s for s in self.plan.steps
                if s.kind == p.WET and s.surface == surface and s.id not in self.lines[0]["done"] and self.holds(s)
            )
            self.owe_step(self.patch_of(wet))

    # ---- going on ----

    def go_on(self) -> None:
        """To the next thing that waits for a person or for time."""
        while not self.verdict:
            if self.rewets and "rewet" not in self.pile and self.top() in AT_STEP | {"nothing"}:
                self.rewets_again()
            elif self.pile and self.pile[-1] == "rewet" and not self.rewets:
                self.pop()
            elif self.pile or self.recovering or self.option is not None:
                return
            elif self.step is None:
                self.next_thing()
            elif self.thing == ("sign-in",) and self.person != self.lines[-1]["person"]:
                self.lines[-1]["done"].add("sign-in")
                self.told.append(("sign-in",))
                self.leave_step()
            elif self.step.kind == p.WAIT:
                over = self.wait_over(self.step)
                thing = None if over and self.thing[0] != "step" else self.choose()
                if thing not in (self.thing, None, ("end",)):
                    self.begin_or_ask(thing)  # something owed comes first
                elif over:
                    self.end_wait()
                else:
                    return
            else:
                return

    def can_get_at(self, surface: str) -> bool:
        """The hands are where it is wetted from, and no door or tray that must be open for it is shut."""
        step = self.any_step(self.wet[surface]["step"])
        for condition in step.requires:
            if condition.kind == "opening" and self.openings[condition.subject] != condition.value:
                return False
        return step.reach in ("", self.hands)

    def rewets_again(self) -> None:
        """What lay under them was answered; those out of reach now will be asked for anew."""
        for surface in list(self.rewets):
            if not self.can_get_at(surface):
                self.rewets.remove(surface)
                self.wet[surface]["asked"] = self.wet[surface]["again"] = None
        if self.rewets:
            self.push("rewet")
            self.under_asked = self.now

    def end_wait(self) -> None:
        if self.thing[0] == "step":
            self.lines[-1]["done"].add(self.step.id)
        self.leave_step()

    def next_thing(self) -> None:
        depth = len(self.lines)
        if self.questions and depth <= self.question_depth:
            self.recovering = True
            self.asked_at = self.now
        elif self.stop_depth and depth <= self.stop_depth:
            self.stop()
        elif depth == 1 and any(o.id not in self.options for o in self.plan.options):
            self.option = next(o.id for o in self.plan.options if o.id not in self.options)
            self.asked_at = self.now
        else:
            thing = self.choose()
            if thing is None:
                self.deviation("dead_end", self.lines[-1]["branch"])
                self.end("stopped")
            elif thing != ("end",):
                self.begin_or_ask(thing)
            elif depth > 1:
                self.leave_branch()
            else:
                self.end("incomplete" if self.lines[0]["skipped"] else "complete")

    def stop(self) -> None:
        while self.pile and self.pile[-1] in ("trouble", "which"):
            self.pile.pop()
        if "stopping" in self.pile:
            self.pile = self.pile[: self.pile.index("stopping")]
        self.push("stopping")
        self.choices, self.mishap, self.dries = (), None, ""
        self.stop_depth = len(self.lines)

    def end(self, verdict: str) -> None:
        if verdict == "complete" and not self.all_done():
            verdict = "incomplete"
        self.verdict = verdict
        self.leave_step()

    # ---- words ----

    def word(self, word: str, began: int, ended: int) -> None:
        """A word that began and ended when it says, understood now."""
        if self.verdict:
            return
        if word == "confirm" and self.top() == "rewet" and self.under_asked <= began and ended < self.rewet_asked:
            self.pile.pop()  # it was over before the re-wet was asked for: it speaks of what was asked before
            top = self.top()
            if top in ("step", "read back", "value back") and self.thing != ("sign-in",):
                self.asked_at = self.now
                self.confirm(top, ended)
                self.go_on()
                self.second()
                return
            self.pile.append("rewet")
        if word in ANSWERS and began < self.asked_at:
            return
        top = self.top()
        if word in self.MISHAPS:
            self.named(word, began, ended)
        elif word == "stop":
            if top != "stopping":
                self.stop()
        elif word == "trouble":
            if top not in ("trouble", "which"):
                self.push("trouble")
        elif word == "pause":
            if top in AT_STEP | {"rewet"}:
                self.push("paused")
        elif word == "resume":
            if top in ("paused", "stopping"):
                self.back()
        elif word == "cancel":
            if top == "which" and self.dries:
                self.try_remedy("")
            elif top in ("trouble", "which", "stopping"):
                self.back()
        elif word in ("correction", "go_back"):
            if top in AT_STEP | {"rewet", "paused"}:
                self.correct(top)
            elif word == "correction" and top == "option" and self.options:
                self.answer_wrong()
            elif word == "correction" and top == "trouble" and self.options and len(self.lines) == 1:
                self.pile.pop()
                if self.top() in {"step", "value", "witness", "wait", "rewet", "paused", "option"}:
                    self.answer_wrong()  # the plans here ask one question: nobody need be asked which
                else:
                    self.pile.append("trouble")
        elif word in ("computer", "enclosure"):
            if top == "which" and not self.choices:
                if word == "computer":
                    self.back()
                else:
                    self.with_power_known(self.plan.mishaps[self.mishap], began, ended)
        elif word == "started":
            self.first_stroke(top, ended)
        elif word == "skip":
            self.skip(top, ended)
        elif word == "confirm":
            self.confirm(top, ended)
        elif word == "rewetted":
            if top == "rewet":
                self.wetted_again(self.rewets[0])
        elif word == "no":
            self.no(top, ended)
        self.go_on()
        self.second()

    def back(self) -> None:
        if self.pile[-1] == "stopping":
            self.stop_depth = 0
        self.pop()
        self.choices, self.mishap, self.dries = (), None, ""

    def first_stroke(self, top: str, ended: int) -> None:
        both = self.step is not None and self.step.kind == p.WET and self.stroke is None  # either could be meant
        if top == "rewet" and self.wet[self.rewets[0]]["again"] is None and not both:
            self.wet[self.rewets[0]]["again"] = max(ended, self.wet[self.rewets[0]]["asked"])
        elif top == "step" and self.step.kind == p.WET and self.stroke is None:
            self.stroke = max(ended, self.since)

    def skip(self, top: str, ended: int) -> None:
        if top in ("step", "value", "witness") and self.thing[0] == "step":
            self.claimed, self.about = ended, "skip"
            self.push("read back")

    def confirm(self, top: str, ended: int) -> None:
        if top == "option":
            self.options[self.option], self.option = True, None
        elif top == "recover":
            self.answer_question(True)
        elif top == "stopping":
            self.end("stopped")
        elif top == "value back":
            self.take_value(ended)
        elif top == "read back":
            if self.about == "skip":
                self.skipped()
            else:
                self.finish(ended)
        elif top == "step" and self.thing != ("sign-in",):
            self.claim(ended)

    def claim(self, ended: int) -> None:
        """The word that confirms a step: perhaps too quick to be true, perhaps to be said twice or witnessed."""
        step = self.step
        if step.kind == p.PATCH and self.patch_since is None:
            self.patch_since, self.quick_asked, self.asked_at = ended, False, self.now
            return
        took, least, hopeless = ended - self.since, step.impossible_ms, False
        if step.kind == p.PATCH:
            took, least = ended - self.patch_since, max(least, 1000)
            key = (self.plan.surfaces[step.surface].orientation, step.agent)
            hopeless = any(self.comes_too_late(s, took) for s in self.plan.steps
                           if s.kind == p.WET and (self.plan.surfaces[s.surface].orientation, s.agent) == key)
        if (took < least or hopeless) and not self.quick_asked:
            self.quick_asked, self.asked_at = True, self.now
        elif step.policy == p.READ_BACK:
            self.claimed, self.about = ended, "confirm"
            self.push("read back")
        elif step.policy == p.WITNESSED:
            self.claimed, self.about = ended, "confirm"
            self.push("witness")
        else:
            self.finish(ended)

    def no(self, top: str, ended: int) -> None:
        if top == "option":
            self.options[self.option], self.option = False, None
        elif top == "recover":
            self.answer_question(False)
        elif top == "read back" or (top == "witness" and self.pile):
            self.drop_claim()
        elif top == "value back":
            self.read_value, self.asked_at = None, self.now
        elif top == "step" and self.quick_asked:
            self.quick_asked, self.asked_at = False, self.now
        elif top == "step" and self.step.kind == p.CHECK:
            self.failed(self.step.on_no, ended)

    def drop_claim(self) -> None:
        self.pop()
        self.claimed, self.quick_asked = None, False

    def failed(self, then: str, ended: int) -> None:
        if then == "deviate":
            self.deviation("check_no", self.step.id)
            self.finish(ended)
        elif then == "stop":
            self.stop()

    def value(self, text: str, began: int) -> None:
        """A value was heard."""
        top = self.top()
        wanted = top == "value" or (top == "which" and self.choices)
        if self.verdict or not wanted or began < self.asked_at:
            return
        if top == "which":
            if text.isdecimal() and 1 <= int(text) <= len(self.choices):
                if self.dries:
                    self.try_remedy(self.choices[int(text) - 1])
                else:
                    self.enter(self.plan.mishaps[self.mishap], began, self.choices[int(text) - 1])
        elif self.usable(text):
            self.read_value, self.asked_at = text, self.now
        self.go_on()
        self.second()

    def witness(self, person: str, statement: str) -> None:
        """Someone else than the technician says what they saw."""
        if self.verdict or self.top() != "witness" or person == self.person or not statement:
            return
        self.finish(self.now)
        self.go_on()
        self.second()

    def sign_in(self, person: str) -> None:
        """Somebody takes over: at work, that is a hand-over."""
        if self.verdict or person == self.person:
            return
        over = next((m for m in self.plan.mishaps.values() if m.word == "hand_over"), None)
        handing = over is not None and any(line["branch"] == over.id for line in self.lines)
        if over and not handing and self.top() not in ("option", "recover"):
            self.enter(over, self.now, "")
        self.person = person
        self.go_on()
        self.second()
