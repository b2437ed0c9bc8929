"""The steps an author can write. `do` says the kind; include, repeat and wetting by zone unfold on loading."""

from __future__ import annotations

import re
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, WithJsonSchema, model_validator

from assistant.procedure.model.base import DecimalText, Duration, Name, Node, Ref, Text, YesNo
from assistant.procedure.model.enclosure import Condition, Reach

# "anywhere": wherever the hands are just then; for words in a mishap that need no hand.
StepReach = Literal["room", "gauntlets", "window", "anywhere"]
Outcome = Annotated[str, Field(pattern=r"^(stop|again|deviate|mishap:[a-z_\-]+)$", max_length=60)]


def _placeholder_list(value: Any) -> Any:
    """A list that a part's parameter fills in is empty until then."""
    return [] if isinstance(value, str) and re.fullmatch(r"\{[a-z_]+\}", value) else value


StepServes = Annotated[
    list[Literal["deactivation", "decontamination", "cleaning", "disinfection"]],
    BeforeValidator(_placeholder_list),
    WithJsonSchema(
        {
            "anyOf": [
                {
                    "type": "array",
                    "items": {"enum": ["deactivation", "decontamination", "cleaning", "disinfection"]},
                },
                {"type": "string", "pattern": r"^\{[a-z_]+\}$"},
            ]
        }
    ),
]


class Within(Node):
    """A limit: this step must be confirmed within `time` of the confirmation of step `after`."""

    after: Ref
    time: Duration
    warn: Duration = 0


class StepBase(Node):
    """What every step may carry. `when`: {option: yes|no}, all must hold."""

    id: Name
    when: dict[Name, YesNo] = {}


class SpokenStep(StepBase):
    """A step that is said."""

    say: Text
    brief: Text | None = None
    why: Text | None = None
    caution: Text | None = None
    look_for: Text | None = None
    claim: Text | None = None
    policy: Literal["single", "read_back", "witness"] = "single"
    reach: StepReach | None = None  # left out: where the hands are after the steps before
    requires: list[Condition] = []
    expected: Duration = 0  # left out: estimated from the words and the area
    floor: Duration = 0
    impossible: Duration = 0
    within: Within | None = None
    serves: StepServes = []


class Instruct(SpokenStep):
    """One thing to do. `role` marks steps that static rules look for."""

    do: Literal["instruct"]
    role: (
        Literal[
            "glove_hygiene",
            "outer_glove_change",
            "waste_closed",
            "waste_wiped",
            "waste_passed_out",
            "wipes_binned",
            "lift_tray",
            "lower_tray",
            "raise_stand",
            "lower_stand",
            "new_wipe",
            "wipe_gauntlets",
            "sleeve_change",
            "bag_ready",
            "spray",
            "person_care",
        ]
        | None
    ) = None
    tool: Ref | None = None
    agent: Ref | None = None
    surface: Ref | None = None  # the tray or panel it is about


class Wet(SpokenStep):
    """Wets one surface, several, or everything in a zone (cleanest first, then top to bottom, left, back)."""

    do: Literal["wet"]
    surface: Ref | None = None
    surfaces: list[Ref] = []
    zone: Ref | None = None
    except_: list[Ref] = Field(default=[], alias="except")
    agent: Ref
    contact: Duration | None = None  # left out: the agent's label
    wet_time: Duration | None = None  # left out: the agent's, for the surface's orientation
    lead: Duration | None = None
    method: Literal["wipe", "damp_wipe", "spray", "pour"] = "wipe"
    dirt: Literal["clean", "soiled"] = "clean"
    # auto: a fresh face or a new wipe is said by count; continue: the wipe in hand; hand: it isn't wiped
    wipe: Literal["auto", "new", "none"] = "auto"

    @model_validator(mode="after")
    def _one_target(self) -> Wet:
        if sum(bool(x) for x in (self.surface, self.surfaces, self.zone)) != 1:
            raise ValueError("a wet step names exactly one of surface, surfaces, zone")
        if self.except_ and not self.zone:
            raise ValueError("`except` goes with `zone`")
        return self


class Wait(SpokenStep):
    """Waits for contacts and cycles by id, or for every contact ("all_contacts")."""

    do: Literal["wait"]
    for_: list[Ref] = Field(alias="for", min_length=1)


class Open(SpokenStep):
    """Opens an opening."""

    do: Literal["open"]
    opening: Ref


class Close(SpokenStep):
    """Closes an opening."""

    do: Literal["close"]
    opening: Ref


class StartCycle(SpokenStep):
    """Starts a machine cycle; it then runs by itself."""

    do: Literal["cycle"]
    cycle: Ref


class SetMachine(SpokenStep):
    """Sets a machine state."""

    do: Literal["machine"]
    machine: Ref
    value: Ref
    maker_asks: str | None = Field(default=None, max_length=200)  # the maker's procedure for an exception


class Move(SpokenStep):
    """Moves the hands, with the glove hygiene it needs."""

    do: Literal["move"]
    hands: Reach


class Check(SpokenStep):
    """A yes/no question."""

    do: Literal["check"]
    on_no: Outcome
    role: (
        Literal[
            "glove_integrity",
            "tightness",
            "clearance",
            "certification",
            "in_use_life",
            "glove_change",
            "waste_out",
            "protective_equipment",
        ]
        | None
    ) = None
    agent: Ref | None = None  # whose in-use life is asked about
    marking: Ref | None = None  # the label that is read for it


class Reading(SpokenStep):
    """A number read from a gauge; limits come from the gauge unless given here."""

    do: Literal["reading"]
    gauge: Ref
    unit: str | None = Field(default=None, max_length=20)
    low: DecimalText | None = None
    high: DecimalText | None = None
    on_outside: Outcome


class Note(SpokenStep):
    """A lot or a date. A date may have to be today or later."""

    do: Literal["note"]
    value: Literal["lot", "date"]
    marking: Ref | None = None
    agent: Ref | None = None
    not_before_today: YesNo = False
    on_outside: Outcome = "stop"


class Witness(SpokenStep):
    """A second person looks and says so."""

    do: Literal["witness"]


class Patch(SpokenStep):
    """Measures today's wet time: a patch of `surface` is wetted, and confirmed again when it has dried.

    What is measured holds for every surface of the same orientation and agent, never longer than the agent's file.
    """

    do: Literal["patch"]
    surface: Ref
    agent: Ref


class Include(StepBase):
    """Puts the steps of a shared part here, its parameters filled in."""

    do: Literal["include"]
    part: Ref
    with_: dict[Name, Any] = Field(default={}, alias="with")


class Repeat(StepBase):
    """Does the steps once for each item; `{item}` (or the name given by `as`) stands for it."""

    do: Literal["repeat"]
    each: list[Ref] = Field(min_length=1, max_length=60)
    as_: Name = Field(default="item", alias="as")
    steps: list[AnyStep] = Field(min_length=1)


PlainStep = (
    Instruct | Wet | Wait | Open | Close | StartCycle | SetMachine
    | Move | Check | Reading | Note | Witness | Patch
)
AnyStep = Annotated[PlainStep | Include | Repeat, Field(discriminator="do")]
Repeat.model_rebuild()
