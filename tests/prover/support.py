"""Shared by the prover's tests: the smallest shipped procedure, and plans with one fault made by hand."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import load_procedure
from assistant.procedure.model import plan as p
from assistant.prover.bounds import Bounds
from assistant.prover.moves import TODAY
from assistant.prover.requirements import Requirements, of_files

QUICK = Bounds(depth=1, moments=1)


@lru_cache
def shipped(name: str) -> tuple[p.Plan, Requirements]:
    """(plan, requirements) of a shipped procedure."""
    loaded = load_procedure(name)
    return replace(compile_plan(loaded), today=TODAY), of_files(loaded)


def with_step(plan: p.Plan, step_id: str, **changes: object) -> p.Plan:
    """The plan with one step changed."""
    assert any(s.id == step_id for s in plan.steps), step_id
    return replace(plan, steps=tuple(replace(s, **changes) if s.id == step_id else s for s in plan.steps))


def without_step(plan: p.Plan, step_id: str) -> p.Plan:
    """The plan with one step left out."""
    assert any(s.id == step_id for s in plan.steps), step_id
    return replace(plan, steps=tuple(s for s in plan.steps if s.id != step_id))


def with_mishap(plan: p.Plan, mishap: str, **changes: object) -> p.Plan:
    """The plan with one mishap changed."""
    return replace(plan, mishaps={**plan.mishaps, mishap: replace(plan.mishaps[mishap], **changes)})


def with_opening(plan: p.Plan, opening: str, **changes: object) -> p.Plan:
    """The plan with one opening changed."""
    return replace(plan, openings={**plan.openings, opening: replace(plan.openings[opening], **changes)})
