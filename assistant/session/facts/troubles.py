"""Mishaps, deviations, recoveries, devices and clocks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from assistant.session.facts.base import Count, Fact, Id, Ms


@dataclass(frozen=True, slots=True)
class TroubleAsked(Fact):
    KIND: ClassVar[str] = "trouble_asked"


@dataclass(frozen=True, slots=True)
class WhichAsked(Fact):
    """A mishap needs one more word: which surface (choices by number) or which power. `mishap` "dries:<surface>":
    which remedy for a surface that dries time and again. `first`: how many choices were named already, where more of
    them were asked for."""

    KIND: ClassVar[str] = "which_asked"
    mishap: Id
    choices: tuple[str, ...]
    first: Count = 0


@dataclass(frozen=True, slots=True)
class BranchEntered(Fact):
    """A mishap's own steps come first. `surface`: where it happened, or "". `done`: its steps that still count,
    where it is entered again because one of them was taken back."""

    KIND: ClassVar[str] = "branch_entered"
    mishap: Id
    surface: str = ""
    done: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class MishapNoted(Fact):
    """A mishap was named while a more urgent one is open: its own branch comes after that."""

    KIND: ClassVar[str] = "mishap_noted"
    mishap: Id
    said_ms: Ms


@dataclass(frozen=True, slots=True)
class HeldBack(Fact):
    """Something happened to the interrupted work ("dried:<surface>", "step:<id>" for a missed time limit) that isn't
    said while a person, or what must stay inside, is seen to."""

    KIND: ClassVar[str] = "held_back"
    about: str


@dataclass(frozen=True, slots=True)
class HeldSaid(Fact):
    """What was held back is said now, once."""

    KIND: ClassVar[str] = "held_said"
    about: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BranchLeft(Fact):
    KIND: ClassVar[str] = "branch_left"
    mishap: Id


@dataclass(frozen=True, slots=True)
class SurfaceSpoiled(Fact):
    KIND: ClassVar[str] = "surface_spoiled"
    surface: Id
    reason: str


@dataclass(frozen=True, slots=True)
class RedoPlanned(Fact):
    """What must be done again and why: `reasons` holds one plain sentence per step in `steps`."""

    KIND: ClassVar[str] = "redo_planned"
    cause: str
    steps: tuple[str, ...]
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Deviation(Fact):
    """A departure from the procedure, always said aloud. `code` is for counting, `text` for reading."""

    KIND: ClassVar[str] = "deviation"
    code: Id
    about: str
    text: str


@dataclass(frozen=True, slots=True)
class Recovered(Fact):
    """The assistant is back after a crash, power cut or suspend; nobody watched for `unwatched_ms`.
    `questions` are asked before work goes on. `after`: only once so few lines of work are open, for what lies over
    them comes first; 0: at once."""

    KIND: ClassVar[str] = "recovered"
    why: str
    unwatched_ms: Ms
    questions: tuple[str, ...]
    after: int = 0


@dataclass(frozen=True, slots=True)
class RecoveryAnswered(Fact):
    KIND: ClassVar[str] = "recovery_answered"
    question: Id
    yes: bool


@dataclass(frozen=True, slots=True)
class QuestionsResumed(Fact):
    """A mishap came between the questions after a recovery; they go on."""

    KIND: ClassVar[str] = "questions_resumed"


@dataclass(frozen=True, slots=True)
class DeviceLost(Fact):
    KIND: ClassVar[str] = "device_lost"
    device: Id
    detail: str = ""


@dataclass(frozen=True, slots=True)
class DeviceBack(Fact):
    KIND: ClassVar[str] = "device_back"
    device: Id


@dataclass(frozen=True, slots=True)
class ClockStepped(Fact):
    """The wall clock and the monotonic clock disagree by `step_ms`; no wait is shortened by it."""

    KIND: ClassVar[str] = "clock_stepped"
    step_ms: int


@dataclass(frozen=True, slots=True)
class SoundGap(Fact):
    """Sound blocks were dropped or the sound clock drifted by `gap_ms` against the monotonic clock."""

    KIND: ClassVar[str] = "sound_gap"
    gap_ms: int
    detail: str
