"""Faults that the site's file itself has: plan and requirements both lack what somebody forgot to write.

Only what the proof works out without the file's own steps can show them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from assistant.procedure.model import plan as p
from assistant.prover.requirements import Requirements

FileMutants = Iterator[tuple[str, p.Plan, Requirements]]
FILE_OPERATORS: dict[str, Callable[[p.Plan, Requirements], FileMutants]] = {}
_WASTE = frozenset(("bag_ready", "waste_closed", "waste_wiped", "waste_passed_out", "wipes_binned"))


def _operator(function: Callable[[p.Plan, Requirements], FileMutants]):
    FILE_OPERATORS[function.__name__] = function
    return function


def without(need: Requirements, step: str) -> Requirements:
    """The requirements of a file that lacks a step."""
    tasks = tuple(task for task in need.tasks if task.id != step)
    return replace(need, tasks=tasks, order={task.id: i for i, task in enumerate(tasks)}, needed={})


@_operator
def waste_step_unwritten(plan: p.Plan, need: Requirements) -> FileMutants:
    """A step by which used wipes leave isn't in the file: a bag filled, closed, wiped or passed out, wipes binned, or
    the change of the outer gloves after the last of them."""
    last = max((i for i, task in enumerate(need.tasks) if task.role in _WASTE), default=len(need.tasks))
    change = next((task.id for task in need.tasks[last:] if task.role == "outer_glove_change"), "")
    for task in need.tasks:
        if task.role in _WASTE or task.id == change:
            steps = tuple(s for s in plan.steps if s.id != task.id)
            yield task.id, replace(plan, steps=steps), without(need, task.id)


@_operator
def way_unrequired(plan: p.Plan, need: Requirements) -> FileMutants:
    """Surfaces are wetted, or something is passed through, with a tray lifted or a door open, and the step that the
    file has for it doesn't require it."""
    written: dict[tuple[str, int, str], list[int]] = {}  # one step of the file, where it is included -> its plan's steps
    for i, step in enumerate(plan.steps):
        if _required(step) != step.requires:
            written.setdefault((step.file, step.line, step.id.rpartition(".")[0]), []).append(i)
    for at in written.values():
        steps = [replace(s, requires=_required(s)) if i in at else s for i, s in enumerate(plan.steps)]
        yield plan.steps[at[0]].id, replace(plan, steps=tuple(steps)), need


def _required(step: p.Step) -> tuple[p.Cond, ...]:
    return tuple(c for c in step.requires if c.kind != "opening" or c.value != "open")
