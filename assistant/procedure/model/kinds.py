"""The typed form of site files. One import place for the four kinds of file and their steps."""

from __future__ import annotations

from assistant.procedure.model.agents import Agent, AgentsFile
from assistant.procedure.model.base import Node, in_language
from assistant.procedure.model.enclosure import EnclosureFile, SurfaceModel
from assistant.procedure.model.procedure import MishapModel, PartFile, ProcedureFile
from assistant.procedure.model.steps import (
    AnyStep,
    Check,
    Close,
    Include,
    Instruct,
    Move,
    Note,
    Open,
    Patch,
    PlainStep,
    Reading,
    Repeat,
    SetMachine,
    SpokenStep,
    StartCycle,
    Wait,
    Wet,
    Witness,
)

FORMAT = 2  # the version this code writes and reads; older ones go through `upcast`
FILE_KINDS: dict[str, type[Node]] = {
    "enclosure": EnclosureFile,
    "agents": AgentsFile,
    "part": PartFile,
    "procedure": ProcedureFile,
}

__all__ = [
    "FORMAT",
    "FILE_KINDS",
    "Agent",
    "AgentsFile",
    "AnyStep",
    "Check",
    "Close",
    "EnclosureFile",
    "Include",
    "Instruct",
    "MishapModel",
    "Move",
    "Node",
    "Note",
    "Open",
    "PartFile",
    "Patch",
    "PlainStep",
    "ProcedureFile",
    "Reading",
    "Repeat",
    "SetMachine",
    "SpokenStep",
    "StartCycle",
    "SurfaceModel",
    "Wait",
    "Wet",
    "Witness",
    "in_language",
]
