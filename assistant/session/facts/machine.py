"""The enclosure: cycles, openings, hands, machine states, limits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, ClassVar

from assistant.procedure.model.plan import REACHES
from assistant.session.facts.base import Fact, Id, Ms, MsOrNone, one_of


@dataclass(frozen=True, slots=True)
class CycleStarted(Fact):
    KIND: ClassVar[str] = "cycle_started"
    cycle: Id
    started_ms: Ms
    due_ms: Ms


@dataclass(frozen=True, slots=True)
class CycleCompleted(Fact):
    KIND: ClassVar[str] = "cycle_completed"
    cycle: Id
    due_ms: Ms


@dataclass(frozen=True, slots=True)
class CycleBroken(Fact):
    """Running or complete, it no longer counts: from zero."""

    KIND: ClassVar[str] = "cycle_broken"
    cycle: Id
    reason: str


@dataclass(frozen=True, slots=True)
class OpeningMoved(Fact):
    """`to`: open or closed, as confirmed or corrected. `since_ms`: when it was moved, -1 for the fact's moment."""

    KIND: ClassVar[str] = "opening_moved"
    opening: Id
    to: Annotated[str, one_of("open", "closed")]
    since_ms: MsOrNone = -1


@dataclass(frozen=True, slots=True)
class HandsMoved(Fact):
    """`taken_back`: the last move wasn't made; the hands are where they were before it."""

    KIND: ClassVar[str] = "hands_moved"
    to: Annotated[str, one_of(*REACHES)]
    taken_back: bool = False


@dataclass(frozen=True, slots=True)
class MachineSet(Fact):
    KIND: ClassVar[str] = "machine_set"
    machine: Id
    value: str


@dataclass(frozen=True, slots=True)
class LimitWarned(Fact):
    """`limit`: "opening:<id>" or "step:<id>"."""

    KIND: ClassVar[str] = "limit_warned"
    limit: Id
    due_ms: Ms


@dataclass(frozen=True, slots=True)
class LimitMissed(Fact):
    KIND: ClassVar[str] = "limit_missed"
    limit: Id
    due_ms: Ms
