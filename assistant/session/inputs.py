"""What can reach the core. Each input is plain data; the moment it is decided comes beside it as `now_ms`."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Begin:
    """Start the session. `options`: answers given before the start, as (option id, yes)."""

    person: str
    kind: str = "script"
    voice: bool = False
    brief: bool = False
    options: tuple[tuple[str, bool], ...] = ()


@dataclass(frozen=True, slots=True)
class Word:
    """A command. `started_ms`/`ended_ms` bound the utterance on the session's clock; None means now.
    `source`: voice, keys, pedal, board or script."""

    word: str
    started_ms: int | None = None
    ended_ms: int | None = None
    source: str = "script"
    said: str = ""
    confidence_pm: int = 1000
    scores: tuple[tuple[str, int], ...] = ()
    clip_sha256: str = ""


@dataclass(frozen=True, slots=True)
class Value:
    """A number ("-0.02"), lot ("AB1234") or date ("2027-03-31"), parsed, not yet believed."""

    value: str
    started_ms: int | None = None
    ended_ms: int | None = None
    source: str = "script"
    said: str = ""
    confidence_pm: int = 1000
    scores: tuple[tuple[str, int], ...] = ()
    clip_sha256: str = ""


@dataclass(frozen=True, slots=True)
class Misheard:
    """An utterance that wasn't accepted by the listener. `word` where one was recognised all the same."""

    reason: str
    word: str = ""
    started_ms: int | None = None
    ended_ms: int | None = None
    source: str = "voice"
    said: str = ""
    confidence_pm: int = 0
    scores: tuple[tuple[str, int], ...] = ()
    clip_sha256: str = ""


@dataclass(frozen=True, slots=True)
class Tick:
    """Nothing but time."""


@dataclass(frozen=True, slots=True)
class LineDone:
    """The voice has finished line `line`, or was cut short."""

    line: int
    started_ms: int
    ended_ms: int
    interrupted: bool = False


@dataclass(frozen=True, slots=True)
class Witness:
    """A second person, signed in elsewhere, states what they saw directly."""

    person: str
    statement: str


@dataclass(frozen=True, slots=True)
class SignIn:
    """Somebody takes over at the gauntlets."""

    person: str


@dataclass(frozen=True, slots=True)
class Lost:
    """A device went away."""

    device: str
    detail: str = ""


@dataclass(frozen=True, slots=True)
class Back:
    """A device came back."""

    device: str


@dataclass(frozen=True, slots=True)
class Recover:
    """The assistant starts again on an open session. `why`: crash or suspend."""

    unwatched_ms: int
    why: str = "crash"


@dataclass(frozen=True, slots=True)
class ClockStep:
    """The wall clock moved against the monotonic one."""

    step_ms: int


@dataclass(frozen=True, slots=True)
class Gap:
    """Sound was lost or drifted."""

    gap_ms: int
    detail: str


@dataclass(frozen=True, slots=True)
class Recalled:
    """In practice: the answer to "what comes next?". `choices` as shown, numbered from 1; `chosen`: 0 for none."""

    step: str
    choices: tuple[str, ...]
    right: int
    chosen: int


Input = (
    Begin | Word | Value | Misheard | Tick | LineDone | Witness | SignIn | Lost | Back | Recover | ClockStep | Gap
    | Recalled
)
