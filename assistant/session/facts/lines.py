"""What was said and heard."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, ClassVar

from assistant.session.facts.base import Count, Fact, Id, Ms, Thousandths, one_of

# Why a line is spoken; the voice may interrupt an answer for a warning, never a warning for an answer.
INSTRUCTION, ANSWER, ANNOUNCEMENT, WARNING, QUESTION, REFUSAL, NOTICE = (
    "instruction", "answer", "announcement", "warning", "question", "refusal", "notice",
)
ROLES = (INSTRUCTION, ANSWER, ANNOUNCEMENT, WARNING, QUESTION, REFUSAL, NOTICE)


@dataclass(frozen=True, slots=True)
class LineSpoken(Fact):
    """The assistant is about to say `text`. Written before the voice starts. `about`: step, surface or "".
    `line` counts from 1."""

    KIND: ClassVar[str] = "line_spoken"
    line: Count
    role: Annotated[str, one_of(*ROLES)]
    text: str
    about: str = ""


@dataclass(frozen=True, slots=True)
class LineEnded(Fact):
    """What really sounded: from `started_ms` to `ended_ms`; `interrupted` when it was cut short."""

    KIND: ClassVar[str] = "line_ended"
    line: Count
    started_ms: int
    ended_ms: int
    interrupted: bool = False


@dataclass(frozen=True, slots=True)
class Heard(Fact):
    """One utterance or key. `word` is a command id or ""; `confidence_pm` in thousandths; `scores` are the
    engine's own, in thousandths; `source`: voice, keys, pedal, board or script; `person` where known."""

    KIND: ClassVar[str] = "heard"
    word: str
    accepted: bool
    reason: str
    source: str
    started_ms: Ms
    ended_ms: Ms
    said: str = ""
    value: str = ""
    confidence_pm: Thousandths = 1000
    scores: tuple[tuple[str, int], ...] = ()
    clip_sha256: str = ""
    person: str = ""


@dataclass(frozen=True, slots=True)
class NotNow(Fact):
    """A command that can't be answered in this mode; nothing else changes."""

    KIND: ClassVar[str] = "not_now"
    word: Id
    mode: Id


@dataclass(frozen=True, slots=True)
class KeysOffered(Fact):
    """After repeated non-understanding: keys are offered, or a safe stop when `stop_offered`."""

    KIND: ClassVar[str] = "keys_offered"
    misheard: Count
    stop_offered: bool = False


@dataclass(frozen=True, slots=True)
class MannerChanged(Fact):
    """How the assistant speaks: `manner` is brief, full, slower or louder."""

    KIND: ClassVar[str] = "manner_changed"
    manner: Annotated[str, one_of("brief", "full", "slower", "louder")]


@dataclass(frozen=True, slots=True)
class Announced(Fact):
    """These ends (surface ids, "cycle:<id>") are about to be said; each is announced once."""

    KIND: ClassVar[str] = "announced"
    ends: tuple[str, ...]
