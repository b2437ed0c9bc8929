"""The enclosure: cycles, openings, hands, machine states, limits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from assistant.session.facts.base import Fact


@dataclass(frozen=True, slots=True)
class CycleStarted(Fact):
    KIND: ClassVar[str] = "cycle_started"
    cycle: str
    started_ms: int
    due_ms: int


@dataclass(frozen=True, slots=True)
class CycleCompleted(Fact):
    KIND: ClassVar[str] = "cycle_completed"
    cycle: str
    due_ms: int


@dataclass(frozen=True, slots=True)
class CycleBroken(Fact):
    """Running or complete, it no longer counts: from zero."""

    KIND: ClassVar[str] = "cycle_broken"
    cycle: str
    reason: str


@dataclass(frozen=True, slots=True)
class OpeningMoved(Fact):
    """`to`: open or closed, as confirmed or corrected. `since_ms`: when it was moved, -1 for the fact's moment."""

    KIND: ClassVar[str] = "opening_moved"
    opening: str
    to: str
    since_ms: int = -1


@dataclass(frozen=True, slots=True)
class HandsMoved(Fact):
    """`taken_back`: the last move wasn't made; the hands are where they were before it."""

    KIND: ClassVar[str] = "hands_moved"
    to: str
    taken_back: bool = False


@dataclass(frozen=True, slots=True)
class MachineSet(Fact):
    KIND: ClassVar[str] = "machine_set"
    machine: str
    value: str


@dataclass(frozen=True, slots=True)
class LimitWarned(Fact):
    """`limit`: "opening:<id>" or "step:<id>"."""

    KIND: ClassVar[str] = "limit_warned"
    limit: str
    due_ms: int


@dataclass(frozen=True, slots=True)
class LimitMissed(Fact):
    KIND: ClassVar[str] = "limit_missed"
    limit: str
    due_ms: int
