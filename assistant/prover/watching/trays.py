"""Which openings are open, and which trays are lifted, where each surface is wetted: read off the file's own order."""

from __future__ import annotations

from assistant.procedure.plan import CLOSE, OPEN, WET
from assistant.prover.requirements import Requirements, Task

LIFT, LOWER = "lift_tray", "lower_tray"  # instructions that move a tray; others move it by an opening


def ways(need: Requirements, options: dict[str, bool]) -> dict[str, tuple[frozenset[str], frozenset[str]]]:
    """Wet step -> (openings that are open, trays that an instruction has lifted) where it stands, under these answers."""
    open_ = frozenset(o for o, spec in need.openings.items() if spec.at_start == "open")
    lifted: frozenset[str] = frozenset()
    found = {}
    for task in need.applies(options):
        if task.kind == OPEN:
            open_ |= {task.opening}
        elif task.kind == CLOSE:
            open_ -= {task.opening}
        elif moves_tray(task):
            lifted = lifted | {task.tray} if task.role == LIFT else lifted - {task.tray}
        elif task.kind == WET and (open_ or lifted):
            found[task.id] = (open_, lifted)
    return found


def moves_tray(task: Task) -> bool:
    """Whether the step is an instruction that lifts a tray or puts it back."""
    return task.role in (LIFT, LOWER) and bool(task.tray)
