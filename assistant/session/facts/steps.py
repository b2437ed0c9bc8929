"""Steps: begun, claimed, confirmed, taken back, owed again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, ClassVar

from assistant.procedure.model.plan import READ_BACK, SINGLE, WITNESSED
from assistant.session.facts.base import Count, Fact, Id, Ms, one_of


@dataclass(frozen=True, slots=True)
class StepStarted(Fact):
    """`branch`: "" for the main line, else the mishap. `mode`: step, value, wait or witness."""

    KIND: ClassVar[str] = "step_started"
    step: Id
    branch: str
    mode: Annotated[str, one_of("step", "value", "wait", "witness")]


@dataclass(frozen=True, slots=True)
class StrokeStarted(Fact):
    """The first stroke on the surface at hand; drying counts from `stroke_ms`."""

    KIND: ClassVar[str] = "stroke_started"
    step: Id
    surface: Id
    stroke_ms: Ms


@dataclass(frozen=True, slots=True)
class ReadBackAsked(Fact):
    """What was understood is said back; a second word confirms. `what`: confirm or skip."""

    KIND: ClassVar[str] = "read_back_asked"
    step: Id
    what: Annotated[str, one_of("confirm", "skip")]
    claimed_ms: Ms


@dataclass(frozen=True, slots=True)
class ClaimQuestioned(Fact):
    """A confirmation came impossibly soon; a second one is needed."""

    KIND: ClassVar[str] = "claim_questioned"
    step: Id
    took_ms: Ms
    floor_ms: Ms


@dataclass(frozen=True, slots=True)
class ClaimDropped(Fact):
    """A read back was answered no: nothing was confirmed."""

    KIND: ClassVar[str] = "claim_dropped"
    step: Id


@dataclass(frozen=True, slots=True)
class WitnessAsked(Fact):
    KIND: ClassVar[str] = "witness_asked"
    step: Id
    claimed_ms: Ms


@dataclass(frozen=True, slots=True)
class WitnessGiven(Fact):
    """A second person, on their own device, states what they saw directly."""

    KIND: ClassVar[str] = "witness_given"
    step: Id
    person: str
    statement: str


@dataclass(frozen=True, slots=True)
class StepConfirmed(Fact):
    """`claimed_ms`: when the confirming word ended. `quick`: sooner than plausible. `source`: voice, keys..."""

    KIND: ClassVar[str] = "step_confirmed"
    step: Id
    branch: str
    policy: Annotated[str, one_of(SINGLE, READ_BACK, WITNESSED)]
    claimed_ms: Ms
    took_ms: Ms
    person: str
    source: str
    quick: bool = False


@dataclass(frozen=True, slots=True)
class CheckAnswered(Fact):
    KIND: ClassVar[str] = "check_answered"
    step: Id
    yes: bool


@dataclass(frozen=True, slots=True)
class StepSkipped(Fact):
    """Skipped, not excused: the run can no longer end complete."""

    KIND: ClassVar[str] = "step_skipped"
    step: Id
    branch: str


@dataclass(frozen=True, slots=True)
class StepOwed(Fact):
    """Something done no longer counts and must be done again. `because` in plain words."""

    KIND: ClassVar[str] = "step_owed"
    step: Id
    because: str


@dataclass(frozen=True, slots=True)
class CorrectionMade(Fact):
    """The last confirmation is taken back. `step`: whose. `undone`: what else fell with it, by name."""

    KIND: ClassVar[str] = "correction_made"
    step: Id
    how: Annotated[str, one_of("correction", "go_back")]
    undone: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ValueHeard(Fact):
    """A number, lot or date as understood; it counts only after read back."""

    KIND: ClassVar[str] = "value_heard"
    step: Id
    value: str


@dataclass(frozen=True, slots=True)
class ValueDropped(Fact):
    """Read back answered no, or the value can't be right. It is asked for again. `mend`: what was wrong in it may
    be said alone."""

    KIND: ClassVar[str] = "value_dropped"
    step: Id
    value: str
    reason: str
    mend: bool = False


@dataclass(frozen=True, slots=True)
class ValueFailed(Fact):
    """A value said whole wasn't heard, or not heard rightly, `times` in a row at this question."""

    KIND: ClassVar[str] = "value_failed"
    step: Id
    times: Count


@dataclass(frozen=True, slots=True)
class SpellingAsked(Fact):
    """From here on the value is said one sign at a time."""

    KIND: ClassVar[str] = "spelling_asked"
    step: Id


@dataclass(frozen=True, slots=True)
class SignsHeard(Fact):
    """The signs so far: one more, or one less after a correction."""

    KIND: ClassVar[str] = "signs_heard"
    step: Id
    signs: str


@dataclass(frozen=True, slots=True)
class ValueAccepted(Fact):
    KIND: ClassVar[str] = "value_accepted"
    step: Id
    value: str
    unit: str = ""
    inside_limits: bool = True


@dataclass(frozen=True, slots=True)
class WaitEnded(Fact):
    KIND: ClassVar[str] = "wait_ended"
    step: Id
    branch: str
    waited_ms: Ms


@dataclass(frozen=True, slots=True)
class TimeLeftSaid(Fact):
    """The countdown at a wait reached a mark the site chose."""

    KIND: ClassVar[str] = "time_left_said"
    step: Id
    mark_ms: Ms
