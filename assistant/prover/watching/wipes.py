"""Where used wipes must go, worked out from what is wiped and from where, whatever steps the file has for it.

Common practice, no source: a wipe used in the gauntlets leaves in a bag that is filled, closed, wiped and passed out,
then the outer gloves are changed; one used through the open window leaves in a closed, wiped bag, and the gloves are
changed; one used from the room is binned before a door is closed, the gloves are changed or the hands move.
"""

from __future__ import annotations

from assistant.procedure.model.plan import CLOSE, GAUNTLETS, MOVE, ROOM, WINDOW
from assistant.prover.requirements import Requirements, Task

_WAYS_OUT = {
    GAUNTLETS: (
        ("bag_ready", "nothing bags the used wipes"), ("waste_closed", "nothing closes the waste bag"),
        ("waste_wiped", "nothing wipes the waste bag"), ("waste_passed_out", "nothing passes the waste bag out"),
        ("outer_glove_change", "nobody changes the outer gloves"),
    ),
    WINDOW: (
        ("waste_closed", "nothing closes the bag with the used wipes"), ("waste_wiped", "nothing wipes that bag"),
        ("outer_glove_change", "nobody changes the outer gloves"),
    ),
}
_AWAY = ("wipes_binned", "bag_ready")


def never_out(need: Requirements, options: dict[str, bool]) -> list[tuple[str, str]]:
    """(the last step that wipes there, what is missing after it) under these answers."""
    tasks = need.applies(options)
    found = []
    for place, way in _WAYS_OUT.items():
        last = max((i for i, task in enumerate(tasks) if task.wiped_from == place), default=-1)
        if last < 0:
            continue
        at = last
        for role, missing in way:
            at = next((i for i in range(at + 1, len(tasks)) if tasks[i].role == role), len(tasks))
            if at == len(tasks):
                found.append((tasks[last].id, missing))
                break
    return found + _left_in_the_hand(tasks)


def _left_in_the_hand(tasks: tuple[Task, ...]) -> list[tuple[str, str]]:
    held = ""  # the step whose wipe is still in the hand, outside
    for task in tasks:
        if task.wiped_from:
            held = task.id if task.wiped_from == ROOM else ""
        elif task.role in _AWAY:
            held = ""
        elif held and (task.kind in (MOVE, CLOSE) or task.role == "outer_glove_change"):
            break
    return [(held, "nobody bins the used wipes")] if held else []
