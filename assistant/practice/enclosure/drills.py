"""Mishaps on cue: drawn from the procedure's own branches, seeded, weighted to what this trainee gets wrong."""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import dataclass

from assistant.practice.operator.cues import Cue
from assistant.procedure.model.plan import WET, Plan, Step

# What befalls the enclosure with each mishap, in the words of `Cue.world`; {s} is the surface at hand.
_WORLD = {
    "torn_glove": "spoil:{s}", "splash": "", "spill": "spoil:{s}", "pressure_alarm": "power", "power_cut": "power",
    "dropped_item": "spoil:{s}", "dry_surface": "dry:{s}", "wipe_reused": "spoil:{s}", "agent_out": "",
    "unwell": "", "hand_over": "", "fire": "", "touched": "spoil:{s}",
}
_ENDS = ("splash", "unwell", "fire")  # the clean doesn't go on after these
_LEAST_WORK_MS, _MOST_WORK_MS = 2500, 9000


@dataclass(frozen=True, slots=True)
class Drill:
    """One mishap to come. `word`: the command that names it; `at_line`: the sentence that sets it off; `surface`:
    where; `tell`: what the trainee is shown or told, in plain words."""

    word: str
    at_line: str
    surface: str
    after_ms: int
    tell: str

    def cue(self) -> Cue:
        """For a virtual operator, who notices it and names it."""
        world = _WORLD.get(self.word, "").format(s=self.surface)
        drop = self.word not in ("hand_over",)
        return Cue(self.at_line, after_ms=self.after_ms, say=self.word, drop=drop, world=world, surface=self.surface)


def draw(
    plan: Plan, seed: int | str, count: int = 1, *, weights: Mapping[str, float] | None = None,
    words: tuple[str, ...] = (), with_ends: bool = False,
) -> tuple[Drill, ...]:
    """`count` mishaps at different wiping steps, in the order of the work. `weights`: command id -> how much more
    often than once (see `Refresh.weights`); `words`: only these. Same plan and seed, same drills."""
    chance = random.Random(f"drill:{seed}")
    known = [
        m for m in plan.mishaps.values()
        if m.word and (not words or m.word in words) and (with_ends or m.word not in _ENDS)
    ]
    wipes = [s for s in plan.steps if s.kind == WET and not s.when] or [s for s in plan.steps if s.kind == WET]
    if not known or not wipes:
        return ()
    places = sorted(chance.sample(range(len(wipes)), min(count, len(wipes))))
    drills = []
    for place in places:
        factor = [max(0.05, (weights or {}).get(m.word, 1.0)) for m in known]
        mishap = chance.choices(known, factor)[0]
        step = wipes[place]
        after = chance.randrange(_LEAST_WORK_MS, _MOST_WORK_MS)
        drills.append(Drill(mishap.word, _line(step), step.surface, after, f"{mishap.title}, at the {_name(plan, step)}"))
    return tuple(drills)


def _line(step: Step) -> str:
    """The part of a step's sentence that no other step has, in full and in short wording: what is wiped with what."""
    full = next((part for part in step.say.split(". ") if part.lower().startswith("wipe")), step.say).rstrip(".")
    brief = next((part for part in step.brief.split(". ") if step.agent_name and step.agent_name in part), "")
    return f"{full}|{brief.rstrip('.')}" if brief else full


def _name(plan: Plan, step: Step) -> str:
    return plan.surfaces[step.surface].name
