"""The agents file: what each agent is, what it is credited with, where it may go, what it must not meet."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from assistant.procedure.model.base import Duration, Name, Node, PerArea, Percent, Ref, Text, WipeSpeed, YesNo
from assistant.procedure.model.enclosure import Material, Named, Orientation

Serves = Literal["deactivation", "decontamination", "cleaning", "disinfection", "sporicidal", "rinse"]
Active = Literal[
    "isopropyl_alcohol",
    "ethanol",
    "quaternary_ammonium",
    "hydrogen_peroxide",
    "peracetic_acid",
    "sodium_hypochlorite",
    "detergent",
    "water",
    "sodium_thiosulfate",
    "ammonia",
    "organic_solvent",
    "citric_acid",
]


class MaterialException(Node):
    """A material allowed against the rule, with the document that allows it."""

    material: Material
    document: str = Field(min_length=3, max_length=200)


class Clash(Node):
    """Another agent this one must not meet without a rinse between."""

    agent: Ref
    why: Text


class Evidence(Node):
    """A document that shows a service: at which strength, after which contact time."""

    serves: Serves
    document: str = Field(min_length=3, max_length=200)
    revision: str = Field(min_length=1, max_length=40)
    shows: str = Field(min_length=3, max_length=300)  # in the document's words: organisms, surface, reduction
    strength: Percent
    contact: Duration


class Agent(Named):
    """One agent as the site uses it."""

    active: Active
    strength: Percent | None = None
    serves: list[Serves] = Field(min_length=1)
    label: str = Field(max_length=200)  # the document its claims and contact time rest on
    evidence: list[Evidence] = []  # for services that aren't credited without it
    contact: Duration = 0
    wet_time: dict[Orientation, Duration] = {}
    wet_time_source: str = Field(default="", max_length=200)
    lead: Duration = 10_000
    coverage: PerArea | None = None  # how much is used per area
    wipe_speed: WipeSpeed | None = None  # area a colleague covers per second with overlapping strokes
    materials: list[Material] = Field(min_length=1)
    exceptions: list[MaterialException] = []
    forbidden: list[Material] = []
    clashes: list[Clash] = []
    form: Literal["wetted_wipe", "ready_to_use", "concentrate", "spray"] = "ready_to_use"
    flammable: YesNo = False
    oxidiser: YesNo = False
    acid: YesNo = False  # leaves acid residue
    abrasive: YesNo = False
    sterile: YesNo = False
    in_use_life: Duration | None = None  # how long after opening
    stock_strength: Percent | None = None  # for an agent diluted on site
    max_volume_per_run_ml: int | None = Field(default=None, ge=1)


class AgentsFile(Node):
    """A whole agents file."""

    format: Literal[3]
    kind: Literal["agents"]
    id: Name
    revision: str = Field(max_length=20)
    agents: list[Agent] = Field(min_length=1)
