"""The judge's part for steps: their order, what a confirmation claims, what may be opened, and the verdict."""

from __future__ import annotations

from typing import Any

from assistant.practice.operator import understanding as u
from assistant.practice.oracle.case import Case
from assistant.practice.oracle.ledger import ENGINE, Contact
from assistant.practice.oracle.words import WordsJudge
from assistant.procedure.model.plan import ALL_CONTACTS, CHECK, CLOSE, CYCLE, MOVE, OPEN, WAIT, WET, Step


class StepsJudge:
    """Each `on_...` takes one fact of that kind, in order."""

    def __init__(self, case: Case, words: WordsJudge) -> None:
        self._case, self._words = case, words

    def on_option_answered(self, fact: Any) -> None:
        self._case.ledger.options[fact.option] = fact.value

    def on_step_started(self, fact: Any) -> None:
        case, ledger = self._case, self._case.ledger
        ledger.current, ledger.stroke_ms = fact.step, -1
        ledger.started[fact.step] = fact.at_ms
        step = case.step(fact.step)
        if step is None:
            return
        if not fact.branch and fact.step in case.order:
            for earlier in case.plan.steps:
                if earlier.id == fact.step:
                    break
                # A cycle that ran and was broken may come again when something needs it: doors ask for it themselves.
                broken = earlier.kind == CYCLE and earlier.cycle in ledger.broken
                if case.due(earlier) and earlier.kind != WAIT and not broken:
                    case.add(fact.at_ms, ENGINE, f"{fact.step} was begun before {earlier.id}")
                    break
            self._waited(fact, step)
        if step.kind == OPEN:
            self._may_open(fact.at_ms, step.opening)

    def _waited(self, fact: Any, step: Step) -> None:
        """Nothing after a wait begins while a surface it stands for is still wet from before it."""
        case, order = self._case, self._case.order
        if not case.ledger.contacts:
            return
        for wait in case.plan.steps[: order[step.id]]:
            if wait.kind != WAIT or not case.holds(wait):
                continue
            for surface, contact in case.ledger.contacts.items():
                meant = ALL_CONTACTS in wait.wait_for or surface in wait.wait_for
                if meant and order.get(contact.step, 10**6) < order[wait.id]:
                    case.add(fact.at_ms, ENGINE, f"{step.id} was begun while {surface} is wet, which {wait.id} waits for")
                    return

    def _may_open(self, at_ms: int, opening: str) -> None:
        case, ledger = self._case, self._case.ledger
        for group in case.plan.interlocks:
            for other in group - {opening} if opening in group else ():
                if ledger.openings[other] == "open":
                    case.add(at_ms, ENGINE, f"{opening} was to be opened while {other} is open")
        for cond in case.plan.openings[opening].opens_when:
            if cond.kind == "cycle" and not ledger.cycles.get(cond.subject, (0, False))[1]:
                case.add(at_ms, ENGINE, f"{opening} was to be opened before {cond.subject} was over")

    def on_step_confirmed(self, fact: Any) -> None:
        case, ledger = self._case, self._case.ledger
        step = case.step(fact.step)
        ledger.done.add(fact.step)
        if step is None:
            return
        if fact.source not in ("board", "") and step.kind not in ("reading", "note") and not fact.branch:
            if not any(abs(end - fact.claimed_ms) <= 5 for end in ledger.yes_ends) and step.kind != CHECK:
                case.add(fact.at_ms, ENGINE, f"{fact.step} was confirmed at a moment when no word ended")
        action = _action(step)
        if action is not None and not case.world.true(action, fact.claimed_ms):
            case.add(fact.at_ms, self._words.why(step, action, fact), f"{fact.step} was believed done")
            if step.kind == WET:
                case.spoilt.add(step.surface)
        if step.kind == WET and action is not None:
            if case.world.true(action, fact.claimed_ms):
                case.spoilt.discard(step.surface)
            first = ledger.stroke_ms if ledger.stroke_ms >= 0 else ledger.started.get(fact.step, fact.claimed_ms)
            ledger.contacts[step.surface] = Contact(step.agent, step.id, fact.claimed_ms, first)
            ledger.clean.discard(step.surface)
        elif step.kind == CYCLE:
            ledger.cycles[step.cycle] = (fact.claimed_ms, False)
            ledger.broken.discard(step.cycle)

    def on_step_owed(self, fact: Any) -> None:
        self._case.ledger.done.discard(fact.step)

    def on_correction_made(self, fact: Any) -> None:
        step = self._case.step(fact.step)
        if step is not None:  # what was taken back never ran
            self._case.ledger.broken.discard(step.cycle)
        self._case.ledger.done.discard(fact.step)

    def on_step_skipped(self, fact: Any) -> None:
        self._case.ledger.skipped.add(fact.step)

    def on_wait_ended(self, fact: Any) -> None:
        case, ledger = self._case, self._case.ledger
        ledger.done.add(fact.step)
        step = case.step(fact.step)
        if step is None:
            return
        for name in step.wait_for:
            if name in case.plan.cycles and not ledger.cycles.get(name, (0, False))[1]:
                case.add(fact.at_ms, ENGINE, f"{fact.step} ended before {name} was over")
            if name in ledger.contacts or (name == ALL_CONTACTS and ledger.contacts):
                case.add(fact.at_ms, ENGINE, f"{fact.step} ended while something is wet")

    def on_verdict_reached(self, fact: Any) -> None:
        case, ledger = self._case, self._case.ledger
        if fact.verdict != "complete":
            return
        for step in case.plan.steps:
            if case.due(step) and step.kind != WAIT:
                case.add(fact.at_ms, ENGINE, f"complete without {step.id}")
            elif step.kind == WET and step.id in ledger.done and step.surface not in ledger.clean:
                case.add(fact.at_ms, ENGINE, f"complete with {step.surface} not clean")
        for opening, spec in case.plan.openings.items():
            if spec.at_end and ledger.openings[opening] != spec.at_end:
                case.add(fact.at_ms, ENGINE, f"complete with {opening} {ledger.openings[opening]}")


def _action(step: Step) -> u.Action | None:
    """What confirming a step claims to have been done."""
    made = {WET: (u.WET, step.surface), OPEN: (u.OPEN, step.opening), CLOSE: (u.CLOSE, step.opening),
            CYCLE: (u.START, step.cycle), MOVE: (u.HANDS, step.hands)}
    return u.Action(*made[step.kind], agent=step.agent) if step.kind in made else None
