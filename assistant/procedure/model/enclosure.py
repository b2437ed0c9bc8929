"""The enclosure file: zones, surfaces, openings and their interlocks, machine cycles, gauges, dates."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from assistant.procedure.model.base import (
    AirflowM3H,
    Area,
    Days,
    DecimalText,
    Duration,
    Name,
    Node,
    Percent,
    Ref,
    Text,
    VolumeM3,
    YesNo,
)

Reach = Literal["room", "gauntlets", "window"]
Material = Literal[
    "stainless_steel",
    "acrylic",
    "glass",
    "polycarbonate",
    "synthetic_rubber",
    "silicone",
    "coated_metal",
    "control_panel",
    "filter_media",
    "filter_protector",
    "diffuser",
    "pre_filter",
    "electronics",
    "plastic",
]
Orientation = Literal["ceiling", "wall", "floor", "upright"]
# What each kind of condition may be held against.
_STATES = {
    "opening": ("open", "closed"),
    "cycle": ("complete",),
    "contact": ("complete",),
    "step": ("done",),
}


class Condition(Node):
    """One condition: exactly one of opening, cycle, hands, machine, contact or step, with `is`."""

    opening: Ref | None = None
    cycle: Ref | None = None
    hands: Reach | None = None
    machine: Ref | None = None
    contact: Ref | None = None
    step: Ref | None = None
    is_: str | None = Field(default=None, alias="is", max_length=40)

    @model_validator(mode="after")
    def _one_kind(self) -> Condition:
        kinds = [k for k in ("opening", "cycle", "hands", "machine", "contact", "step") if getattr(self, k)]
        if len(kinds) != 1:
            raise ValueError("a condition names exactly one of opening, cycle, hands, machine, contact, step")
        kind = kinds[0]
        if kind == "hands":
            if self.is_ is not None:
                raise ValueError("write {hands: room}, without `is`")
            return self
        if kind in ("cycle", "contact", "step") and self.is_ is None:
            self.is_ = _STATES[kind][0]
        if self.is_ is None:
            raise ValueError(f"`is` is missing: {{{kind}: {getattr(self, kind)}, is: ...}}")
        if kind in _STATES and self.is_ not in _STATES[kind]:
            raise ValueError(f"{kind} can be {' or '.join(_STATES[kind])}, not {self.is_}")
        return self

    def as_triple(self) -> tuple[str, str, str]:
        """(kind, subject, value) as the plan holds it."""
        if self.hands:
            return ("hands", "", self.hands)
        for kind in ("opening", "cycle", "machine", "contact", "step"):
            if subject := getattr(self, kind):
                return (kind, subject, self.is_ or "")
        raise ValueError("an empty condition")


class Named(Node):
    """Something with an id and a name; `pronounce` is how a voice should say the name."""

    id: Name
    name: Text
    pronounce: Text | None = None


class Zone(Named):
    """A part of the enclosure. `dirt`: 1 is cleanest; used for the order of work and the wipe count. `outside`: it
    belongs to the room, so that no drug residue is looked for there."""

    dirt: int = Field(default=1, ge=1, le=9)
    outside: YesNo = False


class SurfaceModel(Named):
    """A surface that can be wetted. Ranks: 1 is cleanest, topmost, leftmost, rearmost."""

    zone: Ref
    material: Material
    orientation: Orientation = "wall"
    cleanliness: int = Field(default=1, ge=1, le=99)
    height: int = Field(default=1, ge=1, le=99)
    side: int = Field(default=1, ge=1, le=99)
    depth: int = Field(default=1, ge=1, le=99)
    area: Area
    beside: list[Ref] = []
    how: Text | None = None
    never_spray: YesNo = False
    under: Ref | None = None  # the tray or panel that must be lifted to reach it


class OpeningModel(Named):
    """A door, panel or window; or, with `lifts`, the space under a tray or plate, open while that is lifted."""

    reach: Reach = "room"
    opens_when: list[Condition] = []
    closes_when: list[Condition] = []
    at_start: Literal["open", "closed"] = "closed"
    at_end: Literal["open", "closed"] = "closed"
    max_open: Duration = 0
    warn: Duration = 0
    opens_chamber: YesNo = False  # opening it opens the chamber to the room
    lifts: Ref | None = None  # the tray or panel (a surface) that is lifted while this is open


class WorkedOut(Node):
    """Minutes worked out from the published formula and rounded up."""

    volume: VolumeM3
    airflow: AirflowM3H
    removal: Percent
    mixing_factor: DecimalText = "1"


class CycleModel(Named):
    """A machine cycle. Either `duration` is given, or `work_out` says what it is worked out from, or both."""

    duration: Duration | None = None
    work_out: WorkedOut | None = None
    validated_by: str | None = Field(default=None, max_length=200)
    reach: Reach = "room"
    starts_when: list[Condition] = []
    broken_by_openings: list[Ref] = []
    broken_by: list[Ref] = ["pressure_alarm", "power_cut"]
    kind: Literal["purge", "run_up", "other"] = "other"

    @model_validator(mode="after")
    def _some_time(self) -> CycleModel:
        if self.duration is None and self.work_out is None:
            raise ValueError("a cycle needs `duration`, or `work_out` with volume, airflow and removal")
        return self


class MachineModel(Named):
    """A machine state the technician sets, such as the fan."""

    values: list[Name] = Field(min_length=2, max_length=6)
    at_start: Name
    at_end: Name
    role: Literal["fan", "pressure", "light", "other"] = "other"
    reach: Reach = "room"


class Gauge(Named):
    """A gauge or display, its limits as the gauge shows them (with sign), and from where it can be read."""

    unit: str = Field(max_length=20)
    low: DecimalText | None = None
    high: DecimalText | None = None
    source: str = Field(max_length=200)  # maker's or site's document; limits come from nowhere else
    read_from: list[Reach] = Field(min_length=1)


class Marking(Named):
    """A label, lot or date that a note records, and from where it can be read."""

    read_from: list[Reach] = Field(min_length=1)


class GearItem(Node):
    """An article of protective equipment or a tool."""

    id: Name
    name: Text
    count: int = Field(default=1, ge=1, le=50)


class Wipe(Node):
    """The wipe in use: a folded wipe has so many clean faces; a face serves so much area of so much dirt."""

    faces: int = Field(ge=1, le=32)
    area_per_face: dict[Literal["clean", "soiled"], Area]
    source: str = Field(max_length=200)


class Intervals(Node):
    """How often each purpose is due here."""

    light: Days | None = None
    rigorous: Days | None = None
    sporicidal: Days | None = None
    under_tray: Days | None = None
    glove_change: Days | None = None
    sleeve_change: Days | None = None
    leak_test: Days | None = None
    certification: Days | None = None


class EnclosureFile(Node):
    """A whole enclosure file."""

    format: Literal[3]
    kind: Literal["enclosure"]
    id: Name
    name: Text
    pronounce: Text | None = None
    site: str = Field(max_length=120)
    revision: str = Field(max_length=20)
    category: Literal[1, 2, 3] | None = None
    hazardous: YesNo
    maker_document: str = Field(max_length=200)
    local_rules: str = Field(max_length=200)
    agents: Ref
    glove_limit: Duration | None = None  # a pair of outer gloves is worn at most so long
    zones: list[Zone] = Field(min_length=1)
    surfaces: list[SurfaceModel] = Field(min_length=1)
    openings: list[OpeningModel] = []
    interlocks: list[list[Ref]] = []
    cycles: list[CycleModel] = []
    machines: list[MachineModel] = []
    gauges: list[Gauge] = []
    markings: list[Marking] = []
    moves: dict[str, Text] = {}  # "room>gauntlets": how the hands move, with the glove hygiene it needs
    protective_equipment: list[GearItem] = []
    tools: list[GearItem] = []
    wipe: Wipe
    intervals: Intervals = Intervals()
    site_words: list[str] = []  # the site's own English words for a command, each "COMMAND=WORDS"
    stop_says: list[Text] = []
    ask_after_dryings: int = Field(default=3, ge=0, le=20)  # how often a surface may dry before its time; 0: always
