"""Mishaps on cue: drawn from the procedure's own branches, seeded, weighted to what this trainee gets wrong."""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from assistant.errors import UsageError
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
    often than once (see `Refresh.weights`); `words`: these, each once and again where
    `count` is more, as NAME or NAME@STEP (see `asked_for`). Same plan and seed, same drills."""
    chance = random.Random(f"drill:{seed}")
    if words:
        return asked_for(plan, (words * max(1, count))[: max(count, len(words))], chance)
    known = [
        m for m in plan.mishaps.values()
        if m.word and (with_ends or m.word not in _ENDS)
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


def asked_for(plan: Plan, names: Sequence[str], chance: random.Random) -> tuple[Drill, ...]:
    """One drill for each name: NAME at one of the wiping steps, NAME@STEP at that step. Those that end the run come
    last. Raises UsageError that says why one can't come."""
    mishaps = {m.word: m for m in plan.mishaps.values() if m.word}
    wipes = [s for s in plan.steps if s.kind == WET and not s.when] or [s for s in plan.steps if s.kind == WET]
    order = {s.id: at for at, s in enumerate(plan.steps)}
    wanted = []
    for text in names:
        word, _, at = text.partition("@")
        word = word.replace("-", "_")
        if word not in mishaps:
            raise UsageError(
                f"'{text}' can't come in {plan.procedure}: it has no branch for it.",
                expected=", ".join(sorted(mishaps)), try_next=f"assistant practice {plan.procedure} --list-mishaps",
            )
        if at and at not in order:
            raise UsageError(
                f"'{text}' can't come: {plan.procedure} has no step {at}.",
                expected="a step's id, such as " + ", ".join(list(order)[:3]),
            )
        if not at and not wipes:
            raise UsageError(
                f"'{text}' needs to be told when: {plan.procedure} wipes nothing.",
                expected=f"{word}@STEP, with a step's id such as {next(iter(order))}",
            )
        wanted.append((mishaps[word], plan.step(at) if at else None))
    free = [s for s in wipes if s not in [step for _, step in wanted]] or wipes
    some = iter(sorted(chance.sample(range(len(free)), min(len(free), sum(step is None for _, step in wanted)))))
    ending_last = sorted(wanted, key=lambda pair: pair[0].then != "resume")
    placed = [(m, step or free[next(some, len(free) - 1)]) for m, step in ending_last]
    return tuple(
        Drill(
            m.word, _line(step), step.surface, chance.randrange(_LEAST_WORK_MS, _MOST_WORK_MS) if step.kind == WET else 0,
            f"{m.title}, at the {_name(plan, step)}" if step.surface else m.title,
        )
        for m, step in placed
    )


def not_reached(drills: Sequence[Drill], happened: Sequence[tuple[int, str]]) -> tuple[str, ...]:
    """Why a drill didn't come: the sentence it hangs on was never spoken, or the run ended before its moment."""
    came = [word for _, word in happened]
    found = []
    for drill in drills:
        if drill.word in came:
            came.remove(drill.word)
        else:
            found.append(
                f"{drill.word} didn't come: the run ended, or an answer of the start left out the step, before "
                f"\"{drill.at_line.partition('|')[0]}\" was said and done."
            )
    return tuple(found)


def _line(step: Step) -> str:
    """The part of a step's sentence that no other step has, in full and in short wording: what is wiped with what."""
    full = next((part for part in step.say.split(". ") if part.lower().startswith("wipe")), step.say).rstrip(".")
    brief = next((part for part in step.brief.split(". ") if step.agent_name and step.agent_name in part), "")
    return f"{full}|{brief.rstrip('.')}" if brief else full


def _name(plan: Plan, step: Step) -> str:
    return plan.surfaces[step.surface].name
