"""The state before anything has happened, read off the plan."""

from __future__ import annotations

from assistant.procedure.model.plan import Plan
from assistant.session.state import DIRTY, State


def initial(plan: Plan) -> State:
    """Every surface dirty, openings and machines as the enclosure file says, hands where it starts."""
    return State(
        surfaces=dict.fromkeys(plan.surfaces, DIRTY),
        openings={opening.id: opening.at_start for opening in plan.openings.values()},
        hands=plan.start_hands,
        machines=dict(plan.start_machines),
    )
