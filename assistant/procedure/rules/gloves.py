"""Rules about changing gloves: after wiping from the room or through the window, after a tear, and the change itself."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from assistant.procedure.model.kinds import Wet
from assistant.procedure.rules.base import Hit, rule
from assistant.procedure.rules.walk import Context, Visit

_CHANGE = "outer_glove_change"
_INSIDE = ("gauntlets", "window")


@rule(
    "gloves-after-room-wiping",
    "Outer gloves that wiped from the room are changed before the hands go in; after a light clean's wiping only where "
    "drug residue came off.",
)
def gloves_after_room_wiping(c: Context) -> Iterable[Hit]:
    yield from _unchanged(
        c, lambda v: v.step.reach == "room" and (c.procedure.purpose != "light" or _took_residue(v)),
        lambda v: v.step.kind == "move" and v.step.hands in _INSIDE,
    )


@rule(
    "gloves-after-window",
    "Outer gloves that wiped through the open window are changed before the hands go in again or the run ends.",
)
def gloves_after_window(c: Context) -> Iterable[Hit]:
    yield from _unchanged(
        c, lambda v: v.step.reach == "window", lambda v: v.step.kind == "move" and v.step.hands in _INSIDE, at_end=True
    )


def _took_residue(v: Visit) -> bool:
    m = v.flat.model
    return isinstance(m, Wet) and (m.dirt == "soiled" or "decontamination" in m.serves)


def _unchanged(c: Context, wiped: Callable[[Visit], bool], too_late: Callable[[Visit], bool], at_end: bool = False) -> Iterable[Hit]:
    """Steps that come with the gloves of a wiping still on."""
    seen = set()
    for walk in c.walks().values():
        last = None  # the wiping since which the gloves weren't changed
        for v in walk:
            if v.step.kind == "wet" and wiped(v):
                last = v
            elif getattr(v.flat.model, "role", None) == _CHANGE:
                last = None
            if last and (too_late(v) or (at_end and v is walk[-1])):
                if (last.flat.id, v.flat.id) not in seen:
                    seen.add((last.flat.id, v.flat.id))
                    yield (
                        v.flat.model,
                        "",
                        f"{v.flat.id} comes with the outer gloves that wiped at {last.flat.id}.",
                        "Add a step with role outer_glove_change before it.",
                    )
                last = None


@rule("gloves-after-tear", "After a torn glove, work goes on only with fresh gloves.")
def gloves_after_tear(c: Context) -> Iterable[Hit]:
    for mishap in c.loaded.mishaps:
        m = mishap.model
        if m.word == "torn_glove" and m.then == "resume":
            if not any(getattr(s.model, "role", None) == _CHANGE for s in mishap.steps):
                yield (
                    m,
                    "word",
                    f"After {m.id} the work goes on without fresh gloves.",
                    "Add a last step with role outer_glove_change.",
                )


@rule("change-made", "A glove or sleeve change fits a new part, whatever is answered at the start.")
def change_made(c: Context) -> Iterable[Hit]:
    if c.procedure.purpose != "glove_change":
        return
    for options, walk in c.walks().items():
        if not any(getattr(v.flat.model, "role", None) == "sleeve_change" for v in walk):
            told = ", ".join(f"{o}: {'yes' if on else 'no'}" for o, on in options)
            yield (
                c.procedure,
                "purpose",
                f"No new sleeve or gauntlet is fitted{f' with {told}' if told else ''}.",
                "Add a step with role sleeve_change.",
            )
            return
