"""What a virtual operator has in mind: what is asked of it, what it means to say, what it has said."""

from __future__ import annotations

from dataclasses import dataclass, field

from assistant.practice.operator import understanding as u

MOST_TRIES = 4  # of saying the same, before asking where one is
LONGEST_LINE_MS = 9000  # how long to hold back where nobody tells that the assistant is sounding


@dataclass(frozen=True, slots=True)
class Utterance:
    """`text` is spoken from `start_ms` on, at `pace` times this person's speed (slower when said again)."""

    text: str
    start_ms: int
    pace: float = 1.0


@dataclass(frozen=True, slots=True)
class Said:
    """What it said and what it had in mind, for the oracle and the score; never seen by the assistant.
    `meant`: a command id, "value" or "chat". `action`: what a confirmation speaks of. `text` as really spoken."""

    text: str
    start_ms: int
    end_ms: int
    meant: str
    action: u.Action | None = None
    value: str = ""


@dataclass(slots=True)
class Task:
    """Something asked for: acted on from `begin_ms` to `end_ms`, answered from `say_ms` on."""

    meaning: u.Meaning
    action: u.Action | None
    begin_ms: int
    end_ms: int
    say_ms: int
    meant: str = "confirm"
    word: str = ""  # as the sentence offered it, or ""
    value: str = ""
    begun: bool = False
    acted: bool = False
    tries: int = 0
    said_ms: int = 0
    talks_over: bool = False
    covered: float = 1.0
    left_ms: int = 0  # of the work, while something else comes first


@dataclass(slots=True)
class Saying:
    """A sentence in mind, to be said at `at_ms`."""

    at_ms: int
    meant: str
    text: str
    drop: bool = False
    world: str = ""


@dataclass(slots=True)
class Mind:
    tasks: list[Task] = field(default_factory=list)  # the one at hand last
    sayings: list[Saying] = field(default_factory=list)
    heard_ms: int = 0
    sounding_ms: int = -10_000
    told_of_sound: bool = False
    speaking_until_ms: int = -1
    waiting: bool = False
    over: bool = False
    last: Task | None = None
    last_meant: str = ""
    surface: str = ""  # the one a mishap is about
    owns_up: bool = False
    stopping: bool = False
    lost: int = 0  # how often it asked where it is, since something last worked
    refusals: int = 0
    brief: bool = False
