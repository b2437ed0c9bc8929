"""Counting wipe faces: a folded wipe has so many clean faces, and a face serves so much area of so much dirt.

Common practice, no source: a fresh face for each stroke area, never back from dirtier to cleaner.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class WipeJob:
    """One surface to be wiped. `dirt_rank`: larger is dirtier; `certain`: it is wiped in every run."""

    area_cm2: int
    area_per_face_cm2: int
    agent: str
    dirt_rank: int
    condition: tuple[tuple[str, bool], ...] = ()
    force_new: bool = False


@dataclass(frozen=True, slots=True)
class WipeCue:
    """What is said before a job: `start` is "new_wipe" or "fresh_face"; `faces` it takes; `wipes` opened for it."""

    start: str
    faces: int
    wipes: int


def faces_needed(area_cm2: int, area_per_face_cm2: int) -> int:
    """Whole clean faces for an area. Raises ValueError unless both are positive."""
    if area_cm2 <= 0 or area_per_face_cm2 <= 0:
        raise ValueError("areas must be positive")
    return -(-area_cm2 // area_per_face_cm2)


def plan_wipes(jobs: list[WipeJob], faces_per_wipe: int) -> list[WipeCue]:
    """A cue for each job, in order. A new wipe: first, other agent, from dirtier to cleaner, other condition,
    or too few clean faces left for the whole job while a new wipe would have enough. Raises ValueError."""
    if faces_per_wipe < 1:
        raise ValueError("a wipe has at least one face")
    cues: list[WipeCue] = []
    left = 0
    last: WipeJob | None = None
    for job in jobs:
        need = faces_needed(job.area_cm2, job.area_per_face_cm2)
        fresh = (
            last is None
            or job.force_new
            or job.agent != last.agent
            or job.dirt_rank < last.dirt_rank
            or job.condition != last.condition
            or left < 1
            or (left < need <= faces_per_wipe)
        )
        opened = 0
        if fresh:
            opened, left = 1, faces_per_wipe
        rest = need
        while rest > left:
            rest -= left
            opened, left = opened + 1, faces_per_wipe
        left -= rest
        cues.append(WipeCue("new_wipe" if fresh else "fresh_face", need, opened))
        last = job
    return cues
