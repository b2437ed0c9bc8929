"""The judge of a simulated session: what the record believes, held against what was really done.

It imports nothing of the core. It keeps a small ledger of its own, from the plan and from the facts' plain fields,
and asks the simulated enclosure. Whatever the core believed without reason is counted by class:

* `hearing_error`: a word was taken for another, or heard where none was said;
* `false_claim`: the operator said it was done and it wasn't;
* `misplaced`: the operator, who had let something pass, spoke of one thing and it was taken for another;
* `unseen_drying`: a surface dried early by chance, or was disturbed, and nobody said so;
* `engine_fault`: none of these explains it.
"""

from __future__ import annotations

from typing import Any

from assistant.hearing.packs import load_pack
from assistant.practice import understanding as u
from assistant.practice.enclosure_sim import EnclosureSim
from assistant.practice.operator_mind import Said
from assistant.practice.oracle_ledger import (  # noqa: F401: the classes are named by whoever reads the findings
    CLASSES, DRYING, ENGINE, FALSE_CLAIM, HEARING, MISPLACED, Contact, Finding, Ledger,
)
from assistant.procedure.plan import ALL_CONTACTS, CHECK, CLOSE, CYCLE, MOVE, OPEN, WAIT, WET, Plan, Step

_LAPSE_MS = 180_000  # so long after a lapse the operator may still be a step behind
_OWN_FORM = {word: load_pack("en").say[word] for word in ("confirm", "no", "rewetted")}
_NEAR_MS = 1500  # an utterance and the fact that dates it are never further apart than this


class Oracle:
    """Fed with every input given and every fact decided, as they come. `findings` is the outcome."""

    def __init__(
        self, plan: Plan, world: EnclosureSim, said: list[Said], confusions: list[tuple[str, str]],
        lapses: list[tuple[int, str]],
    ) -> None:
        self.plan = plan
        self.world = world
        self.findings: list[Finding] = []
        self._said = said
        self._lapses = lapses
        self._confusions = confusions
        self._ledger = Ledger(openings={o.id: o.at_start for o in plan.openings.values()})
        self._words: list[tuple[str, int]] = []  # delivered to the core: (word, end)
        self._spoilt: set[str] = set()  # surfaces already reported: what follows from it isn't counted again
        self._steps = {s.id: s for s in plan.steps}
        self._order = {s.id: n for n, s in enumerate(plan.steps)}
        for mishap in plan.mishaps.values():
            self._steps.update({s.id: s for s in mishap.steps})

    def count(self) -> dict[str, int]:
        """Findings by class, every class named."""
        return {name: sum(f.kind == name for f in self.findings) for name in CLASSES}

    def given(self, given: Any) -> None:
        """An input handed to the core."""
        word = getattr(given, "word", "")
        if word and not hasattr(given, "reason"):
            self._words.append((word, given.ended_ms if given.ended_ms is not None else -1))

    def fact(self, fact: Any) -> None:
        """A fact the core decided, in order."""
        handler = getattr(self, f"_on_{fact.KIND}", None)
        if handler:
            handler(fact)

    def failed(self, at_ms: int, what: str) -> None:
        """The core broke, or never came to an end."""
        self._add(at_ms, ENGINE, what)

    def _add(self, at_ms: int, kind: str, what: str) -> None:
        self.findings.append(Finding(at_ms, kind, what))

    # Words

    def _on_heard(self, fact: Any) -> None:
        if not fact.accepted:
            return
        if fact.word and not any(word == fact.word and end in (fact.ended_ms, -1) for word, end in self._words[-4:]):
            self._add(fact.at_ms, ENGINE, f"'{fact.word}' was believed though no such word was handed over")
        if fact.word in ("confirm", "no", "started", "rewetted"):
            begun = self._ledger.started.get(self._ledger.current, 0)
            if fact.word == "confirm":
                self._ledger.yes_ends.append(fact.ended_ms)
            if fact.started_ms < begun and self._ledger.current in self._steps:
                self._add(fact.at_ms, ENGINE, f"'{fact.word}' began before the question it answered")

    def _utterance(self, end_ms: int) -> Said | None:
        near = [s for s in self._said if abs(s.end_ms - end_ms) <= _NEAR_MS]
        return min(near, key=lambda s: abs(s.end_ms - end_ms), default=None)

    # Steps

    def _step(self, step_id: str) -> Step | None:
        """The plan's step; for a generated one, what its id says."""
        if step_id in self._steps:
            return self._steps[step_id]
        if not step_id.startswith("bridge:"):
            return None
        kind, _, subject = step_id.removeprefix("bridge:").partition(":")
        made = {"open": (OPEN, "opening"), "close": (CLOSE, "opening"), "cycle": (CYCLE, "cycle"), "move": (MOVE, "hands")}
        if kind == "wait":
            names = (ALL_CONTACTS,) if subject in ("", "*", "all") else (subject,)
            return Step(step_id, WAIT, "", wait_for=names)
        if kind in made:
            return Step(step_id, made[kind][0], "", **{made[kind][1]: subject})
        return None

    def _on_option_answered(self, fact: Any) -> None:
        self._ledger.options[fact.option] = fact.value

    def _on_step_started(self, fact: Any) -> None:
        ledger = self._ledger
        ledger.current, ledger.stroke_ms = fact.step, -1
        ledger.started[fact.step] = fact.at_ms
        step = self._step(fact.step)
        if step is None:
            return
        if not fact.branch and fact.step in self._order:
            for earlier in self.plan.steps:
                if earlier.id == fact.step:
                    break
                if self._due(earlier) and earlier.kind != WAIT:
                    self._add(fact.at_ms, ENGINE, f"{fact.step} was begun before {earlier.id}")
                    break
            self._waited(fact, step)
        if step.kind == OPEN:
            self._may_open(fact.at_ms, step.opening)

    def _waited(self, fact: Any, step: Step) -> None:
        """Nothing after a wait begins while a surface it stands for is still wet from before it."""
        order = self._order
        if not self._ledger.contacts:
            return
        for wait in self.plan.steps[: order[step.id]]:
            if wait.kind != WAIT or not all(self._ledger.options.get(w.option, False) == w.equals for w in wait.when):
                continue
            for surface, contact in self._ledger.contacts.items():
                meant = ALL_CONTACTS in wait.wait_for or surface in wait.wait_for
                if meant and order.get(contact.step, 10**6) < order[wait.id]:
                    self._add(fact.at_ms, ENGINE, f"{step.id} was begun while {surface} is wet, which {wait.id} waits for")
                    return

    def _due(self, step: Step) -> bool:
        holds = all(self._ledger.options.get(w.option, False) == w.equals for w in step.when)
        return holds and step.id not in self._ledger.done and step.id not in self._ledger.skipped

    def _may_open(self, at_ms: int, opening: str) -> None:
        ledger = self._ledger
        for group in self.plan.interlocks:
            for other in group - {opening} if opening in group else ():
                if ledger.openings[other] == "open":
                    self._add(at_ms, ENGINE, f"{opening} was to be opened while {other} is open")
        for cond in self.plan.openings[opening].opens_when:
            if cond.kind == "cycle" and not ledger.cycles.get(cond.subject, (0, False))[1]:
                self._add(at_ms, ENGINE, f"{opening} was to be opened before {cond.subject} was over")

    def _on_stroke_started(self, fact: Any) -> None:
        self._ledger.stroke_ms = fact.stroke_ms

    def _on_step_confirmed(self, fact: Any) -> None:
        ledger = self._ledger
        step = self._step(fact.step)
        ledger.done.add(fact.step)
        if step is None:
            return
        if fact.source not in ("board", "") and step.kind not in ("reading", "note") and not fact.branch:
            if not any(abs(end - fact.claimed_ms) <= 5 for end in ledger.yes_ends) and step.kind != CHECK:
                self._add(fact.at_ms, ENGINE, f"{fact.step} was confirmed at a moment when no word ended")
        action = self._action(step)
        if action is not None and not self.world.true(action, fact.claimed_ms):
            self._add(fact.at_ms, self._why(step, action, fact), f"{fact.step} was believed done")
            if step.kind == WET:
                self._spoilt.add(step.surface)
        if step.kind == WET:
            if self.world.true(action, fact.claimed_ms):
                self._spoilt.discard(step.surface)
            first = ledger.stroke_ms if ledger.stroke_ms >= 0 else ledger.started.get(fact.step, fact.claimed_ms)
            ledger.contacts[step.surface] = Contact(step.agent, step.id, fact.claimed_ms, first)
            ledger.clean.discard(step.surface)
        elif step.kind == CYCLE:
            ledger.cycles[step.cycle] = (fact.claimed_ms, False)

    @staticmethod
    def _action(step: Step) -> u.Action | None:
        made = {WET: (u.WET, step.surface), OPEN: (u.OPEN, step.opening), CLOSE: (u.CLOSE, step.opening),
                CYCLE: (u.START, step.cycle), MOVE: (u.HANDS, step.hands)}
        return u.Action(*made[step.kind], agent=step.agent) if step.kind in made else None

    def _why(self, step: Step, action: u.Action, fact: Any) -> str:
        spoken = self._utterance(fact.claimed_ms)
        if spoken is None:
            return ENGINE if not self._confusions else HEARING
        if spoken.meant != "confirm":
            return HEARING if spoken.meant != "rewetted" else self._apart(fact.at_ms)
        about = spoken.action
        if about is not None and (about.kind, about.subject) == (action.kind, action.subject):
            return FALSE_CLAIM
        if about is not None and about.kind == u.WET and step.kind == WET:
            return FALSE_CLAIM  # another surface was wiped than the one asked for
        return self._apart(fact.at_ms)

    def _apart(self, at_ms: int) -> str:
        """Why operator and core speak of different things."""
        if self._confusions or self._other_words():
            return HEARING
        return MISPLACED if any(0 <= at_ms - at <= _LAPSE_MS for at, _ in self._lapses) else ENGINE

    def _other_words(self) -> bool:
        """The operator has said a word it didn't mean: from then on the two may speak of different things."""
        return any(s.meant in _OWN_FORM and s.text not in _OWN_FORM[s.meant] for s in self._said)

    # Time

    def _on_rewet_asked(self, fact: Any) -> None:
        self._ledger.asked[fact.surface] = fact.at_ms

    def _on_rewet_confirmed(self, fact: Any) -> None:
        contact = self._ledger.contacts.get(fact.surface)
        if contact is None:
            self._add(fact.at_ms, ENGINE, f"{fact.surface} was believed wet again without having been wet")
            return
        film = self.world.surfaces[fact.surface].film
        again = film is not None and film.last_ms >= self._ledger.asked.get(fact.surface, 0)
        if not (again and self.world.is_wet(fact.surface, fact.claimed_ms)) and fact.surface not in self._spoilt:
            spoken = self._utterance(fact.claimed_ms)
            about = spoken.action if spoken else None
            # It spoke of a re-wet, though another surface may have been wiped than the one asked for.
            of_it = spoken is not None and (spoken.meant == "rewetted" or about and about.subject == fact.surface)
            honest = of_it and about is not None and about.kind == u.WET
            kind = FALSE_CLAIM if honest else self._apart(fact.at_ms)
            self._add(fact.at_ms, kind, f"{fact.surface} was believed wet again")
            self._spoilt.add(fact.surface)
        contact.first_ms = max(fact.stroke_ms, contact.first_ms)

    def _on_contact_completed(self, fact: Any) -> None:
        ledger, surface = self._ledger, fact.surface
        contact = ledger.contacts.pop(surface, None)
        if contact is None:
            self._add(fact.at_ms, ENGINE, f"{surface} was finished without having been wet")
            return
        step = self._steps[contact.step]
        if fact.at_ms - contact.since_ms < step.contact_ms:
            self._add(fact.at_ms, ENGINE, f"{surface} was finished after {fact.at_ms - contact.since_ms} ms")
        if step.wet_ms and fact.due_ms >= contact.first_ms + step.wet_ms:
            self._add(fact.at_ms, ENGINE, f"{surface} was finished though it dries sooner than that")
        ledger.clean.add(surface)
        if surface in self._spoilt:
            return  # reported when it was claimed
        acted = self.world.acted_ms(surface, contact.agent, fact.at_ms)
        if acted < step.contact_ms:
            film = self.world.surfaces[surface].film
            early = acted > 0 or film is None
            self._add(fact.at_ms, DRYING if early else ENGINE, f"{surface} was wet for {acted} ms only")

    def _on_contact_voided(self, fact: Any) -> None:
        self._ledger.contacts.pop(fact.surface, None)
        self._spoilt.discard(fact.surface)

    def _on_surface_dried(self, fact: Any) -> None:
        if fact.phase == "contact":
            self._ledger.contacts.pop(fact.surface, None)

    def _on_surface_spoiled(self, fact: Any) -> None:
        self._ledger.clean.discard(fact.surface)
        self._ledger.contacts.pop(fact.surface, None)

    def _on_cycle_completed(self, fact: Any) -> None:
        begun = self._ledger.cycles.get(fact.cycle)
        if begun is None or fact.at_ms - begun[0] < self.plan.cycles[fact.cycle].duration_ms:
            self._add(fact.at_ms, ENGINE, f"{fact.cycle} was finished too soon")
        self._ledger.cycles[fact.cycle] = (begun[0] if begun else 0, True)

    def _on_cycle_broken(self, fact: Any) -> None:
        self._ledger.cycles.pop(fact.cycle, None)

    def _on_opening_moved(self, fact: Any) -> None:
        self._ledger.openings[fact.opening] = fact.to

    def _on_step_owed(self, fact: Any) -> None:
        self._ledger.done.discard(fact.step)

    def _on_correction_made(self, fact: Any) -> None:
        self._ledger.done.discard(fact.step)

    def _on_step_skipped(self, fact: Any) -> None:
        self._ledger.skipped.add(fact.step)

    def _on_wait_ended(self, fact: Any) -> None:
        self._ledger.done.add(fact.step)
        step = self._step(fact.step)
        if step is None:
            return
        for name in step.wait_for:
            if name in self.plan.cycles and not self._ledger.cycles.get(name, (0, False))[1]:
                self._add(fact.at_ms, ENGINE, f"{fact.step} ended before {name} was over")
            if name in self._ledger.contacts or name == ALL_CONTACTS and self._ledger.contacts:
                self._add(fact.at_ms, ENGINE, f"{fact.step} ended while something is wet")

    def _on_verdict_reached(self, fact: Any) -> None:
        if fact.verdict != "complete":
            return
        for step in self.plan.steps:
            if self._due(step) and step.kind != WAIT:
                self._add(fact.at_ms, ENGINE, f"complete without {step.id}")
            elif step.kind == WET and step.id in self._ledger.done and step.surface not in self._ledger.clean:
                self._add(fact.at_ms, ENGINE, f"complete with {step.surface} not clean")
        for opening, spec in self.plan.openings.items():
            if spec.at_end and self._ledger.openings[opening] != spec.at_end:
                self._add(fact.at_ms, ENGINE, f"complete with {opening} {self._ledger.openings[opening]}")
