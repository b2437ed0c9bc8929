"""The beginning, the questions at the start, pauses and the end."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, ClassVar

from assistant.session.facts.base import Fact, Id, one_of
from assistant.session.modes import OPEN_MODES
from assistant.session.state import FINAL_MODES


@dataclass(frozen=True, slots=True)
class SessionBegun(Fact):
    """`kind`: live, practice, demo or script. `voice`: whether lines take time (else they end at once)."""

    KIND: ClassVar[str] = "session_begun"
    person: str
    kind: Annotated[str, one_of("live", "practice", "demo", "script")]
    procedure: Id
    revision: str
    plan_sha256: str
    enclosure: Id
    voice: bool = False
    brief: bool = False


@dataclass(frozen=True, slots=True)
class OptionAsked(Fact):
    KIND: ClassVar[str] = "option_asked"
    option: Id


@dataclass(frozen=True, slots=True)
class OptionAnswered(Fact):
    """`given`: said (a word), or preset (before the start)."""

    KIND: ClassVar[str] = "option_answered"
    option: Id
    value: bool
    given: Annotated[str, one_of("said", "preset")] = "said"


@dataclass(frozen=True, slots=True)
class OptionReadBack(Fact):
    """The answer drops a safeguard: it is read back and counts only when it is confirmed."""

    KIND: ClassVar[str] = "option_read_back"
    option: str
    value: bool


@dataclass(frozen=True, slots=True)
class OptionReadBackDropped(Fact):
    """The answer that was read back isn't meant: the question is open again."""

    KIND: ClassVar[str] = "option_read_back_dropped"
    option: str


@dataclass(frozen=True, slots=True)
class OptionTakenBack(Fact):
    """An answer given at the start was wrong: `value` no longer counts, and the question is asked again."""

    KIND: ClassVar[str] = "option_taken_back"
    option: str
    value: bool


@dataclass(frozen=True, slots=True)
class Paused(Fact):
    KIND: ClassVar[str] = "paused"


@dataclass(frozen=True, slots=True)
class Returned(Fact):
    """An interruption is over; the mode underneath goes on. `to` is that mode."""

    KIND: ClassVar[str] = "returned"
    to: Annotated[str, one_of(*OPEN_MODES)]


@dataclass(frozen=True, slots=True)
class PersonChanged(Fact):
    """Someone else takes over at the gauntlets; what the first confirmed stays theirs."""

    KIND: ClassVar[str] = "person_changed"
    person: str
    before: str


@dataclass(frozen=True, slots=True)
class StopBegun(Fact):
    """A safe stop: `to_do` names what must be closed, shut off or left running, as spoken."""

    KIND: ClassVar[str] = "stop_begun"
    to_do: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class VerdictReached(Fact):
    """The end. `verdict`: complete, incomplete, stopped or left. `left_open`: what is not done, by name."""

    KIND: ClassVar[str] = "verdict_reached"
    verdict: Annotated[str, one_of(*sorted(FINAL_MODES))]
    left_open: tuple[str, ...] = ()
