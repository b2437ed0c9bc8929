"""The judge's part for what lasts: contacts and their wet time, re-wetting, drying, cycles, doors."""

from __future__ import annotations

from typing import Any

from assistant.practice.operator import understanding as u
from assistant.practice.oracle.case import Case
from assistant.practice.oracle.ledger import DRYING, ENGINE, FALSE_CLAIM
from assistant.practice.oracle.words import WordsJudge


class TimesJudge:
    """Each `on_...` takes one fact of that kind, in order."""

    def __init__(self, case: Case, words: WordsJudge) -> None:
        self._case, self._words = case, words

    def on_stroke_started(self, fact: Any) -> None:
        self._case.ledger.stroke_ms = fact.stroke_ms

    def on_rewet_asked(self, fact: Any) -> None:
        self._case.ledger.asked[fact.surface] = fact.at_ms

    def on_rewet_confirmed(self, fact: Any) -> None:
        case, ledger = self._case, self._case.ledger
        contact = ledger.contacts.get(fact.surface)
        if contact is None:
            case.add(fact.at_ms, ENGINE, f"{fact.surface} was believed wet again without having been wet")
            return
        film = case.world.surfaces[fact.surface].film
        again = film is not None and film.last_ms >= ledger.asked.get(fact.surface, 0)
        if not (again and case.world.is_wet(fact.surface, fact.claimed_ms)) and fact.surface not in case.spoilt:
            spoken = self._words.utterance(fact.claimed_ms)
            about = spoken.action if spoken else None
            # It spoke of a re-wet, though another surface may have been wiped than the one asked for.
            of_it = spoken is not None and (spoken.meant == "rewetted" or (about and about.subject == fact.surface))
            honest = of_it and about is not None and about.kind == u.WET
            kind = FALSE_CLAIM if honest else self._words.apart(fact.at_ms)
            case.add(fact.at_ms, kind, f"{fact.surface} was believed wet again")
            case.spoilt.add(fact.surface)
        contact.first_ms = max(fact.stroke_ms, contact.first_ms)

    def on_contact_completed(self, fact: Any) -> None:
        case, surface = self._case, fact.surface
        contact = case.ledger.contacts.pop(surface, None)
        if contact is None:
            case.add(fact.at_ms, ENGINE, f"{surface} was finished without having been wet")
            return
        step = case.steps[contact.step]
        if fact.at_ms - contact.since_ms < step.contact_ms:
            case.add(fact.at_ms, ENGINE, f"{surface} was finished after {fact.at_ms - contact.since_ms} ms")
        if step.wet_ms and fact.due_ms >= contact.first_ms + step.wet_ms:
            case.add(fact.at_ms, ENGINE, f"{surface} was finished though it dries sooner than that")
        case.ledger.clean.add(surface)
        if surface in case.spoilt:
            return  # reported when it was claimed
        acted = case.world.acted_ms(surface, contact.agent, fact.at_ms)
        if acted < step.contact_ms:
            film = case.world.surfaces[surface].film
            early = acted > 0 or film is None
            case.add(fact.at_ms, DRYING if early else ENGINE, f"{surface} was wet for {acted} ms only")

    def on_contact_voided(self, fact: Any) -> None:
        self._case.ledger.contacts.pop(fact.surface, None)
        self._case.spoilt.discard(fact.surface)

    def on_surface_dried(self, fact: Any) -> None:
        if fact.phase == "contact":
            self._case.ledger.contacts.pop(fact.surface, None)

    def on_surface_spoiled(self, fact: Any) -> None:
        self._case.ledger.clean.discard(fact.surface)
        self._case.ledger.contacts.pop(fact.surface, None)

    def on_cycle_completed(self, fact: Any) -> None:
        case, cycles = self._case, self._case.ledger.cycles
        begun = cycles.get(fact.cycle)
        if begun is None or fact.at_ms - begun[0] < case.plan.cycles[fact.cycle].duration_ms:
            case.add(fact.at_ms, ENGINE, f"{fact.cycle} was finished too soon")
        cycles[fact.cycle] = (begun[0] if begun else 0, True)

    def on_cycle_broken(self, fact: Any) -> None:
        if self._case.ledger.cycles.pop(fact.cycle, None) is not None:
            self._case.ledger.broken.add(fact.cycle)

    def on_opening_moved(self, fact: Any) -> None:
        self._case.ledger.openings[fact.opening] = fact.to
