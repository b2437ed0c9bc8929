"""Tens of sessions with real sound through the real listener, judged by the simulated enclosure."""

from __future__ import annotations

import math
import tempfile
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from assistant.demo.demo import run_media_session
from assistant.practice.enclosure.simulated import EnclosureSim
from assistant.practice.operator.person import Operator
from assistant.practice.operator.persona import Persona
from assistant.practice.operator.room import OperatorRoom
from assistant.practice.operator.voice import OperatorVoice
from assistant.practice.oracle.judge import Oracle
from assistant.practice.oracle.ledger import CLASSES, ENGINE
from assistant.session import inputs
from assistant.session.facts.lines import Heard
from assistant.session.rules import RULES_VERSION
from assistant.station.live.setup import Prepared, prepare
from assistant.station.loop.screen import PlainScreen
from tests.bench.practice.by_ear import AssistantEar, ByEar, open_ear
from tests.bench.practice.side_by_side import side_by_side
from tests.bench.practice.sound_journal import Journal

LONGEST_MS = 60 * 60 * 1000
_NOBODY_MS = 1200
CONFIRMING = ("confirm", "rewetted")


class _NoScreen(PlainScreen):
    """Shows nothing."""

    def __init__(self) -> None:
        pass

    def facts(self, *_: Any) -> None:
        pass

    def tick(self, *_: Any) -> None:
        pass

    def __enter__(self) -> _NoScreen:
        return self

    def __exit__(self, *_: object) -> None:
        pass


def poisson_upper(events: int, exposure: float, confidence: float = 0.95) -> float:
    """Upper confidence bound of a rate from a count: the mean at which so few events have chance 1 - confidence
    (F. Garwood, Fiducial limits for the Poisson distribution, Biometrika 28, 1936; one-sided). inf without exposure."""
    if exposure <= 0:
        return float("inf")
    low, high = 0.0, events + 20.0 + 10.0 * math.sqrt(events + 1)
    for _ in range(200):
        mean = (low + high) / 2
        below = sum(math.exp(-mean + k * math.log(mean) - math.lgamma(k + 1)) if mean > 0 else float(k == 0)
                    for k in range(events + 1))
        low, high = (mean, high) if below > 1 - confidence else (low, mean)
    return high / exposure


@dataclass(frozen=True, slots=True)
class SoundSoak:
    """Which sessions: all of them follow from these and their numbers. `part`: (k, n), the k-th of n shares, from 1."""

    procedure: str
    personas: tuple[Persona, ...]
    seed: int | str
    by_ear: bool = False
    part: tuple[int, int] = (1, 1)

    def session(self, place: int) -> SoundSession:
        """The `place`-th of this share, from 0."""
        k, n = self.part
        number = k - 1 + place * n
        persona = self.personas[number % len(self.personas)]
        return SoundSession(self.procedure, persona, f"{self.seed}:sound:{persona.id}:{number}", self.by_ear)


@dataclass(frozen=True, slots=True)
class SoundSession:
    """One session to be run, perhaps in a process of its own."""

    procedure: str
    persona: Persona
    name: str
    by_ear: bool

    def run(self) -> dict[str, Any]:
        """Run it; its row for the journal."""
        ready = _prepared(self.procedure)
        ear = open_ear(ready, self.persona, self.name) if self.by_ear else None
        with tempfile.TemporaryDirectory(prefix="soak-") as folder:
            row = sound_session(ready, self.persona, self.name, Path(folder), ear)
        if ear is not None:
            row |= {"words": ear.words, "errors": ear.errors}
        return {
            "name": self.name, "procedure": self.procedure, "plan_sha256": ready.plan.sha256, "rules": RULES_VERSION,
            "by_ear": self.by_ear, **row,
        }


@lru_cache(maxsize=8)
def _prepared(procedure: str) -> Prepared:
    return prepare(procedure)


def soak_with_sound(
    what: SoundSoak, sessions: int, *, hours: float = 0.0, journal: Journal | None = None, jobs: int = 1,
    say: Callable[[str], None] = lambda text: None,
) -> dict[str, Any]:
    """Run the first `sessions` of them, or as many as make `hours` of session time, less what the journal has already;
    returns the figures over all its rows. Raises what engines, voices and the journal raise."""
    journal = journal or Journal()
    known, place = journal.names(), 0
    while place < sessions or _hours(journal.rows) < hours:
        batch: list[SoundSession] = []
        while len(batch) < jobs and (hours or place < sessions):
            one = what.session(place)
            place += 1
            if one.name not in known:
                batch.append(one)
        for _, row in side_by_side(SoundSession.run, batch, jobs):
            journal.add(row)
            say(f"{row['name']}: {row['counts']} in {row['taken_s']:.0f} s; {_hours(journal.rows):.2f} h so far")
    return figures(journal.rows)


def _hours(rows: Sequence[Mapping[str, Any]]) -> float:
    return sum(row["simulated_ms"] for row in rows) / 3_600_000


def figures(rows: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """The sum over sessions. `confirmed_by_nobody`: confirming words accepted when the operator said none;
    `confirmed_by_nobody_per_h_95`: the upper bound of its rate."""
    total: Counter[str] = Counter()
    for row in rows:
        total.update(row["counts"])
    hours, taken = _hours(rows), sum(row["taken_s"] for row in rows)
    words = sum(row.get("words", 0) for row in rows)
    nobody = total["confirmed_by_nobody"]
    return {
        "sessions": len(rows), "completed": total["completed"], "hours": round(hours, 3),
        "engine_faults": total[ENGINE], "wrong_acceptances": {name: total[name] for name in CLASSES},
        "missed_words": total["missed_words"], "confirmed_by_nobody": nobody,
        "confirmed_by_nobody_per_h_95": round(poisson_upper(nobody, hours), 4) if hours else None,
        "nobody": [{"name": row["name"], **one} for row in rows for one in row["nobody"]],
        **({"by_ear_word_error": round(sum(row.get("errors", 0) for row in rows) / words, 4)} if words else {}),
        "real_time_factor": round(taken / (hours * 3600), 4) if hours else 0.0,
    }


def sound_session(
    ready: Prepared, persona: Persona, name: str, folder: Path, ear: AssistantEar | None = None,
) -> dict[str, Any]:
    """One session with real sound: `counts`, `simulated_ms`, `taken_s`, and each word of `nobody`."""
    toss = sum(name.encode())
    world = EnclosureSim(ready.plan, name)
    operator = Operator(persona, world, name)
    room = OperatorRoom(ByEar(operator, ear) if ear is not None else operator, OperatorVoice(persona.voice, toss))
    oracle = Oracle(ready.plan, world, operator.said, [], operator.lapses)
    heard: list[Heard] = []

    def facts(_state: Any, new: tuple, _now: int) -> None:
        for fact in new:
            if isinstance(fact, Heard):
                heard.append(fact)
                if fact.word and fact.accepted:
                    oracle.given(inputs.Word(fact.word, fact.started_ms, fact.ended_ms))
            oracle.fact(fact)

    done = run_media_session(
        ready, room, kind="practice", technician=persona.title, records=folder, screen=_NoScreen(), longest_ms=LONGEST_MS,
        options=tuple((o.id, bool(o.default)) for o in ready.plan.options), on_facts=facts,
    )
    counts: Counter[str] = Counter(oracle.count())
    counts["completed"] = int(done.tally.verdict == "complete")
    nobody = [f for f in heard if f.accepted and f.word in CONFIRMING and not _spoken(operator, f)]
    counts["confirmed_by_nobody"] = len(nobody)
    # utterances that sounded, less those that came through
    meant = [s for s in operator.said if s.meant != "chat"]
    counts["missed_words"] = max(0, len(meant) - sum(f.accepted for f in heard))
    return {
        "counts": dict(counts), "simulated_ms": round(done.simulated_s * 1000), "taken_s": round(done.taken_s, 2),
        "engine": str(done.engine.get("engine", "")),
        "nobody": [{"at_ms": f.at_ms, "word": f.word, "said": f.said} for f in nobody],
    }


def _spoken(operator: Operator, fact: Heard) -> bool:
    """Whether the operator was saying that word around then."""
    return any(s.text == operator.words[fact.word] and s.start_ms - _NOBODY_MS <= fact.ended_ms and fact.started_ms <= s.end_ms + _NOBODY_MS
               for s in operator.said)
