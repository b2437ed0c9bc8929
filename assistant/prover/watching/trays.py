"""Which openings are open, and which trays are lifted, where each surface is wetted and each thing is put through: read
off the file's own order."""

from __future__ import annotations

from assistant.procedure.model.plan import CLOSE, OPEN, WET
from assistant.prover.requirements import Requirements, Task

LIFT, LOWER = "lift_tray", "lower_tray"  # instructions that move a tray; others move it by an opening


def ways(need: Requirements, options: dict[str, bool]) -> dict[str, tuple[frozenset[str], frozenset[str]]]:
    """Step -> (openings that are open, trays that an instruction has lifted) where it stands, under these answers: every
    step that wets or passes something through, and the closing of what was opened for nothing else."""
    open_ = frozenset(o for o, spec in need.openings.items() if spec.at_start == "open")
    lifted: frozenset[str] = frozenset()
    unused: frozenset[str] = frozenset()  # opened, and nothing has gone through yet
    found: dict[str, tuple[frozenset[str], frozenset[str]]] = {}
    for task in need.applies(options):
        if task.kind == OPEN:
            open_ |= {task.opening}
            unused |= {task.opening}
        elif task.kind == CLOSE:
            if need.source == "files" and task.opening in unused & open_:
                found[task.id] = (frozenset({task.opening}), frozenset())
            open_ -= {task.opening}
        elif moves_tray(task):
            lifted = lifted | {task.tray} if task.role == LIFT else lifted - {task.tray}
        elif task.kind == WET or task.passes:
            unused = frozenset()
            if open_ or (lifted and task.kind == WET):
                found[task.id] = (open_, lifted if task.kind == WET else frozenset())
    return found


def moves_tray(task: Task) -> bool:
    """Whether the step is an instruction that lifts a tray or puts it back."""
    return task.role in (LIFT, LOWER) and bool(task.tray)
