"""Tens of sessions with real sound through the real listener, judged by the simulated enclosure."""

from __future__ import annotations

import math
import tempfile
from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from assistant.practice.by_ear import AssistantEar, ByEar, open_ear
from assistant.practice.enclosure_sim import EnclosureSim
from assistant.practice.operator import Operator
from assistant.practice.operator_room import OperatorRoom
from assistant.practice.operator_voice import OperatorVoice
from assistant.practice.oracle import CLASSES, ENGINE, Oracle
from assistant.practice.persona import Persona
from assistant.session import inputs
from assistant.session.facts.lines import Heard
from assistant.station.demo import run_media_session
from assistant.station.screen import PlainScreen
from assistant.station.setup import Prepared, prepare

LONGEST_MS = 60 * 60 * 1000
_NOBODY_MS = 1200


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


def soak_with_sound(
    procedure: str, personas: Sequence[Persona], sessions: int, seed: int | str, *,
    say: Callable[[str], None] = lambda text: None, by_ear: bool = False,
) -> dict[str, Any]:
    """Run them; returns the figures. `confirmed_by_nobody`: confirming words accepted when the operator said none."""
    ready, total = prepare(procedure), Counter()
    hours = taken = 0.0
    words = errors = 0
    for i in range(sessions):
        persona = personas[i % len(personas)]
        name = f"{seed}:sound:{persona.id}:{i}"
        ear = open_ear(ready, persona, name) if by_ear else None
        with tempfile.TemporaryDirectory(prefix="soak-") as folder:
            one, simulated_s, taken_s = sound_session(ready, persona, name, Path(folder), ear)
        total.update(one)
        if ear is not None:
            words, errors = words + ear.words, errors + ear.errors
        hours += simulated_s / 3600
        taken += taken_s
        say(f"{name}: {dict(one)} in {taken_s:.0f} s")
    nobody = total["confirmed_by_nobody"]
    return {
        "sessions": sessions, "completed": total["completed"], "hours": round(hours, 3),
        "engine_faults": total[ENGINE], "wrong_acceptances": {name: total[name] for name in CLASSES},
        "missed_words": total["missed_words"], "confirmed_by_nobody": nobody,
        "confirmed_by_nobody_per_h_95": round(poisson_upper(nobody, hours), 4),
        **({"by_ear_word_error": round(errors / words, 4) if words else 0.0} if by_ear else {}),
        "real_time_factor": round(taken / (hours * 3600), 4) if hours else 0.0,
    }


def sound_session(
    ready: Prepared, persona: Persona, name: str, folder: Path, ear: AssistantEar | None = None,
) -> tuple[Counter[str], float, float]:
    """(counts, seconds simulated, seconds taken) of one session with real sound."""
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
    counts["confirmed_by_nobody"] = sum(
        f.accepted and f.word == "confirm" and not _spoken(operator, f) for f in heard
    )
    # utterances that sounded, less those that came through
    meant = [s for s in operator.said if s.meant != "chat"]
    counts["missed_words"] = max(0, len(meant) - sum(f.accepted for f in heard))
    return counts, done.simulated_s, done.taken_s


def _spoken(operator: Operator, fact: Heard) -> bool:
    """Whether the operator was saying its word for yes around then."""
    yes = operator.words["confirm"]
    return any(s.text == yes and s.start_ms - _NOBODY_MS <= fact.ended_ms and fact.started_ms <= s.end_ms + _NOBODY_MS
               for s in operator.said)
