"""The procedure file and the shared part: options, steps, mishap branches."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field, model_validator

from assistant.procedure.model.base import Name, Node, Ref, Text, YesNo
from assistant.procedure.model.enclosure import GearItem, Reach
from assistant.procedure.model.steps import AnyStep


class OptionModel(Node):
    """A yes/no question asked at the start. `read_back`: the answer that drops a safeguard and is read back, in the
    words of `claim`, before it counts."""

    id: Name
    ask: Text
    default: YesNo | None = None
    read_back: YesNo | None = None
    claim: Text | None = None


class SpoilModel(Node):
    """What a mishap spoils, relative to where it is said."""

    what: Literal["current", "below", "running", "zone", "all", "named", "chosen"]
    zone: Ref | None = None
    surfaces: list[Ref] = []

    @model_validator(mode="after")
    def _named(self) -> SpoilModel:
        if (self.what == "named") != bool(self.surfaces):
            raise ValueError("`surfaces` goes with `what: named`, and only with it")
        return self


class MishapModel(Node):
    """A branch that can be entered from any step by its word, or by the answer "no" to a check."""

    id: Name
    word: str = Field(default="", pattern=r"^[a-z_]*$", max_length=40)  # "": entered only by a check's "no"
    title: Text
    urgency: Literal["person", "containment", "work"]  # what it endangers; the most urgent comes first
    steps: list[AnyStep] = []
    spoils: list[SpoilModel] = []
    breaks_cycles: YesNo = False
    then: Literal["resume", "stop", "leave"] = "resume"
    tell: Text | None = None
    asks_which: Text | None = None


class MishapInclude(Node):
    """Takes the mishap branches of a part; `only` and `leave_out` choose among them."""

    part: Ref
    with_: dict[Name, Any] = Field(default={}, alias="with")
    only: list[Name] = []
    leave_out: list[Name] = []


class Parameter(Node):
    """A parameter of a part; without `default` the include must give it."""

    id: Name
    default: Any = None
    required: YesNo = True


class PartFile(Node):
    """A shared part: steps or mishap branches with parameters."""

    format: Literal[3]
    kind: Literal["part"]
    id: Name
    revision: str = Field(max_length=20)
    parameters: list[Parameter] = []
    steps: list[AnyStep] = []
    mishaps: list[MishapModel] = []


class LeftOut(Node):
    """A surface this procedure leaves out on purpose, and why."""

    surface: Ref
    why: Text


class ProcedureFile(Node):
    """A whole procedure file."""

    format: Literal[3]
    kind: Literal["procedure"]
    id: Name
    title: Text
    revision: str = Field(max_length=20)
    enclosure: Ref
    purpose: Literal[
        "light",
        "rigorous",
        "sporicidal",
        "under_tray",
        "glove_change",
        "spill",
        "start_of_day",
        "end_of_day",
        "other",
    ]
    summary: Text | None = None
    document: str = Field(max_length=200)  # the paper procedure this file was made from
    languages: list[Literal["en", "ko"]] = ["en"]  # in these, every spoken text is worded
    second_person: YesNo = False  # whether a witness is always at hand
    cleans_zones: list[Ref] = []  # every surface of these must be wetted, or stand in `leaves_out`
    leaves_out: list[LeftOut] = []
    start_hands: Reach = "room"
    end_hands: Reach = "room"
    machines_at_start: dict[
        Name, Name
    ] = {}  # where this procedure finds other than the enclosure's file says
    machines_at_end: dict[Name, Name] = {}
    options: list[OptionModel] = Field(default=[], max_length=8)
    cautions: list[Text] = []
    tools: list[GearItem] = []
    steps: list[AnyStep] = Field(min_length=1, max_length=400)
    mishaps: list[MishapModel] = []
    mishap_parts: list[MishapInclude] = []
