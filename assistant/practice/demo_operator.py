"""The demo's technician: careful, with one honest slip, one dropped item and one sentence to somebody else."""

from __future__ import annotations

from collections.abc import Mapping

from assistant.practice.cues import Cue
from assistant.practice.enclosure_sim import EnclosureSim
from assistant.practice.operator import Operator
from assistant.practice.operator_room import OperatorRoom
from assistant.practice.operator_voice import OperatorVoice
from assistant.practice.persona import load_persona
from assistant.procedure.plan import Plan

# Today's plan, for the questions at the start.
ANSWERS = {"drugs differ": False, "drug differ": False, "alcohol wipe": False}


def demo_cues(*, missed_rewet: bool = False) -> tuple[Cue, ...]:
    """What goes wrong in the demo, each set off by a line the technician hears."""
    cues = [
        # Said to a colleague: the assistant must not take it for a command.
        Cue("into the airlock", after_ms=2600, say="it is rather warm in here today"),
        # "I got that wrong": the left wall was confirmed with a corner missed, and is done again.
        Cue("wipe the right wall", after_ms=1500, say="correction"),
        # Something falls while the left tray is wiped: a mishap, a deviation, and the tray again.
        Cue("wipe the left tray", after_ms=6000, say="dropped_item", drop=True),
    ]
    if missed_rewet:
        cues.append(Cue("wet the inside of the window again", ignore=True))
    return tuple(cues)


def demo_room(
    plan: Plan, seed: int = 7, *, words: Mapping[str, str] | None = None, snr_db: float | None = None,
    missed_rewet: bool = False, persona: str = "careful",
) -> OperatorRoom:
    """The demo's room: same plan, seed and words, same sound and times. `words`: command id -> how the technician
    says it (see `Operator`)."""
    person = load_persona(persona)
    world = EnclosureSim(plan, seed)
    operator = Operator(person, world, seed, words=words, answers=ANSWERS, cues=demo_cues(missed_rewet=missed_rewet))
    return OperatorRoom(operator, OperatorVoice(person.voice, seed, snr_db=snr_db))
