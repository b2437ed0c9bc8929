"""The names a counterexample is told in: as the author wrote them, never an id where there is a name."""

from __future__ import annotations

from assistant.procedure.model.plan import GAUNTLETS, MOVE, ROOM, WET, WINDOW, Plan, Step
from assistant.session.lookup import name_of
from assistant.session.order.bridges import bridge_step, is_bridge

_TO = {ROOM: "out to the room side", GAUNTLETS: "into the gauntlets", WINDOW: "into the open window"}
_PLACES = {ROOM: "on the room side", GAUNTLETS: "in the gauntlets", WINDOW: "in the open window"}


def thing(plan: Plan, name: str) -> str:
    """A surface, opening, cycle or machine with its article: "the outer door"."""
    return f"the {plan.machine_names.get(name) or name_of(plan, name)}"


def agent(plan: Plan, name: str) -> str:
    """An agent as it is spoken; the id where no step of this plan uses it."""
    return next((s.agent_name for s in plan.steps if s.agent == name and s.agent_name), name)


def mishap(plan: Plan, name: str) -> str:
    """A mishap's title."""
    return f'"{plan.mishaps[name].title}"' if name in plan.mishaps else name


def hands(place: str) -> str:
    """Where hands are, or must be: "in the gauntlets"."""
    return _PLACES.get(place, f"at {place}")


def _found(plan: Plan, step_id: str) -> Step | None:
    try:
        return bridge_step(plan, step_id) if is_bridge(step_id) else plan.step(step_id)
    except (KeyError, ValueError):
        return None  # a step of the file that the plan lacks


def step(plan: Plan, step_id: str, *, located: bool = True, told: tuple[str, str] = ("", "")) -> str:
    """A step as it is spoken, in one sentence, and where the file has it: '"Open the outer door" (a.yaml:12)'. `told`:
    what the file says and where, for a step that the plan lacks."""
    found = _found(plan, step_id)
    if found is None:
        said, place = first_sentence(told[0]), told[1]
        if not said:
            return "a step that isn't in the plan"
    else:
        said, place = _said(plan, found), f"{found.file}:{found.line}" if found.file else ""
    return f'"{said}"' + (f" ({place})" if located and place else "")


def _said(plan: Plan, found: Step) -> str:
    if found.kind == WET:
        return f"Wipe {thing(plan, found.surface)} with {found.agent_name or found.agent}"
    if found.kind == MOVE:  # its words begin with the gloves, or say only where the hands come from
        return moved(found.hands)
    return first_sentence(found.say) or found.kind


def moved(hands: str) -> str:
    """A move of the hands as what it is: "Move the hands into the gauntlets"."""
    return f"Move the hands {_TO.get(hands, hands)}"


def first_sentence(said: str) -> str:
    """The first sentence of what is spoken, without its full stop."""
    return next((s for s in said.replace("? ", "?. ").split(". ") if s), "").rstrip(".")


def condition(plan: Plan, cond: tuple[str, str, str]) -> str:
    """A condition of the files that doesn't hold, as a sentence's second half: "the purge isn't complete"."""
    kind, subject, value = cond
    if kind == "hands":
        return f"the hands aren't {hands(value)}"
    if kind == "contact":
        return f"the contact on {thing(plan, subject)} still runs"
    return f"{thing(plan, subject)} isn't {value or 'complete'}"
