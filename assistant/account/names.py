"""What steps, surfaces, doors and cycles are called.

Names come from the plan as it was on the day; without one, from the ids.
"""

from __future__ import annotations

from collections.abc import Callable

from assistant.procedure.model.plan import MOVE, Plan, Step
from assistant.session.order.bridges import bridge_step, is_bridge

_LONGEST = 64
_HANDS = {
    "gauntlets": "Hands into the gauntlets",
    "room": "Hands out of the gauntlets",
    "window": "Hands to the open window",
}
# (from, to) where the end of the way alone would tell it wrongly.
_WAYS = {
    ("window", "gauntlets"): "Hands from the open window into the gauntlets",
    ("window", "room"): "Hands out of the open window",
    ("gauntlets", "window"): "Hands out of the gauntlets and to the open window",
}


def step_name(plan: Plan | None, step_id: str, hands: str = "") -> str:
    """A short name for a step: what it wets, or which way the hands go, else its first words. `hands`: where they are
    before it, or "" where that isn't known."""
    step = find_step(plan, step_id)
    if step is None:
        return _from_id(step_id)
    if step.surface:
        return f"{surface_name(plan, step.surface)}, {step.agent_name or step.agent}"
    if step.kind == MOVE:
        return _WAYS.get((hands, step.hands)) or _HANDS.get(step.hands, f"Hands to the {plain(step.hands)}")
    text = (step.say or step.brief or _from_id(step.id)).split(". ")[0].rstrip(".?")
    return text if len(text) <= _LONGEST else text[: _LONGEST - 3].rstrip() + "..."


def _from_id(step_id: str) -> str:
    """Words for an id without its plan: "Hands out of the gauntlets", "Close outer door", "load: purge air"."""
    if not is_bridge(step_id):
        return ": ".join(plain(part) for part in step_id.split(".") if part) or step_id
    _, verb, subject = [*step_id.split(":", 2), "", ""][:3]
    if verb == "move":
        return _HANDS.get(subject, f"Hands to the {plain(subject)}")
    if verb == "wait":
        return "Wait for every contact time" if subject == "*" else f"Wait for {plain(subject)}"
    words = {"cycle": "Start", "machine": "Set", "person": "New person:"}.get(verb, plain(verb).capitalize())
    return f"{words} {plain(subject).replace('=', ' to ')}".strip()


def plain(name: str) -> str:
    """An id as words."""
    return name.replace("_", " ").replace("-", " ").strip()


def find_step(plan: Plan | None, step_id: str, hands: str = "") -> Step | None:
    """A step of the plan, or one that the core put in by itself; None for an id that is neither. `hands`: where they
    are before it, for the words of a move that was put in."""
    try:
        if plan is None:
            return None
        return bridge_step(plan, step_id, hands) if is_bridge(step_id) else plan.step(step_id)
    except (KeyError, ValueError):
        return None


def surface_name(plan: Plan | None, surface: str) -> str:
    """The spoken name, or the id."""
    known = plan.surfaces.get(surface) if plan else None
    return known.name if known else surface.replace("_", " ")


def opening_name(plan: Plan | None, opening: str) -> str:
    """The spoken name, or the id."""
    known = plan.openings.get(opening) if plan else None
    return known.name if known else opening.replace("_", " ")


def cycle_name(plan: Plan | None, cycle: str) -> str:
    """The spoken name, or the id."""
    known = plan.cycles.get(cycle) if plan else None
    return known.name if known else cycle.replace("_", " ")


def left_open_words(plan: Plan | None, item: str) -> str:
    """An entry of `left_open` ("step:x") in words."""
    kind, _, name = item.partition(":")
    known: dict[str, Callable[[Plan | None, str], str]] = {
        "step": step_name,
        "contact": surface_name,
        "surface": surface_name,
        "cycle": cycle_name,
        "opening": opening_name,
    }
    named = known.get(kind)
    if named is None:
        return item
    text = {
        "step": "not done",
        "contact": "contact still running",
        "surface": "spoiled and not done again",
        "cycle": "still running",
        "opening": "not left as it must be",
    }[kind]
    return f"{named(plan, name)}: {text}"
