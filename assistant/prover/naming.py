"""The names a counterexample is told in: as the author wrote them, never an id where there is a name."""

from __future__ import annotations

from assistant.procedure.plan import GAUNTLETS, ROOM, WET, WINDOW, Plan, Step
from assistant.session.bridges import bridge_step, is_bridge
from assistant.session.lookup import name_of

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


def step(plan: Plan, step_id: str, *, located: bool = True) -> str:
    """A step as it is spoken, in one sentence, and where the file has it: '"Open the outer door" (a.yaml:12)'."""
    found = _found(plan, step_id)
    if found is None:
        return f"the step {step_id}"
    if found.kind == WET:
        said = f"Wipe {thing(plan, found.surface)} with {found.agent_name or found.agent}"
    else:
        said = next((s for s in found.say.replace("? ", "?. ").split(". ") if s), found.id).rstrip(".")
    where = f" ({found.file}:{found.line})" if located and found.file else ""
    return f'"{said}"{where}'


def condition(plan: Plan, cond: tuple[str, str, str]) -> str:
    """A condition of the files that doesn't hold, as a sentence's second half: "the purge isn't complete"."""
    kind, subject, value = cond
    if kind == "hands":
        return f"the hands aren't {hands(value)}"
    if kind == "contact":
        return f"the contact on {thing(plan, subject)} still runs"
    return f"{thing(plan, subject)} isn't {value or 'complete'}"
