"""What disturbs practice from outside the enclosure: a noisy minute, a failing microphone, the computer losing power.

Seeded and on cue like drills; a level that announces nothing doesn't announce these either.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass

from assistant.practice.enclosure.drills import _line, _name
from assistant.procedure.model.plan import WET, Plan

NOISE, MICROPHONE, COMPUTER = "noisy_minute", "microphone_fails", "computer_stops"
KINDS = (NOISE, MICROPHONE, COMPUTER)
NOISE_DB = 12.0
# Without sound a noisy minute is a listener that misses so many more utterances. Common practice, no source.
NOISE_UNHEARD = 0.5
_LASTS_MS = {NOISE: (60_000, 60_000), MICROPHONE: (15_000, 40_000), COMPUTER: (20_000, 90_000)}
_TELLS = {NOISE: "a noisy minute", MICROPHONE: "the microphone fails for a while", COMPUTER: "the computer loses power"}


@dataclass(frozen=True, slots=True)
class Disturbance:
    """`kind` begins `after_ms` after the line that holds `at_line` has been spoken, and lasts `lasts_ms`."""

    kind: str
    at_line: str
    after_ms: int
    lasts_ms: int
    tell: str


def draw_disturbances(plan: Plan, seed: int | str, kinds: Sequence[str]) -> tuple[Disturbance, ...]:
    """One of each of `kinds`, in turn at wiping steps of their own where there are enough. Same seed, same ones.
    Raises ValueError for an unknown kind."""
    chance = random.Random(f"disturb:{seed}")
    wipes = [s for s in plan.steps if s.kind == WET and not s.when] or [s for s in plan.steps if s.kind == WET]
    unknown = set(kinds) - set(KINDS)
    if unknown:
        raise ValueError(f"nothing disturbs so: {', '.join(sorted(unknown))}")
    if not wipes:
        return ()
    places = [chance.choice(wipes) for _ in kinds] if len(kinds) > len(wipes) else chance.sample(wipes, len(kinds))
    return tuple(
        Disturbance(kind, _line(step), chance.randrange(500, 8000), chance.randint(*_LASTS_MS[kind]),
                    f"{_TELLS[kind]}, at the {_name(plan, step)}")
        for kind, step in zip(kinds, places, strict=True)
    )


class Disturber:
    """Counts lines and tells when each begins and ends."""

    def __init__(self, disturbances: Sequence[Disturbance]) -> None:
        self.happened: list[tuple[int, str]] = []
        self._waiting = list(disturbances)
        self._due: list[tuple[int, bool, Disturbance]] = []  # (when, begins, which)

    def hear(self, text: str, ended_ms: int) -> None:
        """A line has been spoken to its end."""
        low = text.lower()
        for one in [d for d in self._waiting if any(part in low for part in d.at_line.lower().split("|"))]:
            self._waiting.remove(one)
            self._due.append((ended_ms + one.after_ms, True, one))

    def events(self, now_ms: int) -> list[tuple[bool, Disturbance]]:
        """(begins, which) for what is due by `now_ms`, each once. The computer's coming back isn't told: whoever
        cuts its power knows how long it lasts."""
        found = sorted((e for e in self._due if e[0] <= now_ms), key=lambda e: e[0])
        out = []
        for at_ms, begins, one in found:
            self._due.remove((at_ms, begins, one))
            if begins:
                self.happened.append((now_ms, one.kind))
                if one.kind != COMPUTER:
                    self._due.append((now_ms + one.lasts_ms, False, one))
            out.append((begins, one))
        return out

    def next_ms(self) -> int | None:
        """When the next begins or ends."""
        return min((entry[0] for entry in self._due), default=None)
