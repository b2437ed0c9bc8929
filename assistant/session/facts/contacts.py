"""Contact times: a surface is wet, dries, is wetted again, has been wet long enough."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, ClassVar

from assistant.session.facts.base import Fact, Id, Ms, one_of


@dataclass(frozen=True, slots=True)
class ContactStarted(Fact):
    """Contact counts from `wet_since_ms` (whole surface confirmed wet), drying from `stroke_ms`.
    `rewet_at_ms` is 0 where the surface stays wet long enough by itself."""

    KIND: ClassVar[str] = "contact_started"
    surface: Id
    step: Id
    agent: Id
    stroke_ms: Ms
    wet_since_ms: Ms
    complete_at_ms: Ms
    dries_at_ms: Ms
    rewet_at_ms: Ms


@dataclass(frozen=True, slots=True)
class RewetAsked(Fact):
    KIND: ClassVar[str] = "rewet_asked"
    surface: Id


@dataclass(frozen=True, slots=True)
class RewetResumed(Fact):
    """What lay under the re-wets was answered by a word that was over before they were asked for. `surfaces` still
    wait to be wetted again; of the others the hands are out of reach now."""

    KIND: ClassVar[str] = "rewet_resumed"
    surfaces: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RewetStroke(Fact):
    KIND: ClassVar[str] = "rewet_stroke"
    surface: Id
    stroke_ms: Ms


@dataclass(frozen=True, slots=True)
class RewetConfirmed(Fact):
    """The whole surface is wet again; it counts from this confirmation, its drying from the first stroke."""

    KIND: ClassVar[str] = "rewet_confirmed"
    surface: Id
    claimed_ms: Ms
    stroke_ms: Ms
    dries_at_ms: Ms
    rewet_at_ms: Ms


@dataclass(frozen=True, slots=True)
class SurfaceDried(Fact):
    """Dry before its contact time was over (`phase` contact) or before it was wet all over (`wetting`)."""

    KIND: ClassVar[str] = "surface_dried"
    surface: Id
    due_ms: Ms
    phase: Annotated[str, one_of("contact", "wetting")]


@dataclass(frozen=True, slots=True)
class ContactCompleted(Fact):
    KIND: ClassVar[str] = "contact_completed"
    surface: Id
    due_ms: Ms


@dataclass(frozen=True, slots=True)
class ContactVoided(Fact):
    """What was wet no longer counts; the surface starts from zero."""

    KIND: ClassVar[str] = "contact_voided"
    surface: Id
    reason: str


@dataclass(frozen=True, slots=True)
class RemedyChosen(Fact):
    """What is tried with a surface that has dried time and again: patch, smaller, stop, or go_on as before."""

    KIND: ClassVar[str] = "remedy_chosen"
    surface: Id
    remedy: Annotated[str, one_of("patch", "smaller", "stop", "go_on")]


@dataclass(frozen=True, slots=True)
class PatchWetted(Fact):
    KIND: ClassVar[str] = "patch_wetted"
    step: Id
    wet_since_ms: Ms


@dataclass(frozen=True, slots=True)
class PatchDried(Fact):
    """Today's wet time for surfaces lying like this one, with this agent: never longer than the file's."""

    KIND: ClassVar[str] = "patch_dried"
    step: Id
    orientation: str
    agent: Id
    measured_ms: Ms
    wet_ms: Ms


@dataclass(frozen=True, slots=True)
class PatchVoided(Fact):
    """A patch test was taken back: the file's wet time counts again."""

    KIND: ClassVar[str] = "patch_voided"
    step: Id
    orientation: str
    agent: Id
