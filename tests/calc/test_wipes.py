"""Counting wipe faces. Common practice, no source: a fresh face for each area, never from dirtier to cleaner."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.calc.wipes import WipeJob, faces_needed, plan_wipes

jobs = st.lists(
    st.builds(
        WipeJob,
        area_cm2=st.integers(1, 20_000),
        area_per_face_cm2=st.sampled_from([500, 1000, 2000]),
        agent=st.sampled_from(["a", "b"]),
        dirt_rank=st.integers(1, 5),
        condition=st.sampled_from([(), (("x", True),)]),
    ),
    max_size=30,
)


@given(jobs, st.integers(1, 16))
def test_no_face_serves_twice_and_no_wipe_more_faces_than_it_has(all_jobs, faces):
    cues = plan_wipes(all_jobs, faces)
    used = in_hand = 0
    for job, cue in zip(all_jobs, cues, strict=True):
        assert cue.faces == faces_needed(job.area_cm2, job.area_per_face_cm2)
        if cue.start == "new_wipe":
            used = 0
            in_hand = cue.wipes
        else:
            in_hand += cue.wipes
        used += cue.faces
        assert used <= in_hand * faces


@given(jobs, st.integers(1, 16))
def test_a_new_wipe_before_anything_cleaner_or_another_agent(all_jobs, faces):
    cues = plan_wipes(all_jobs, faces)
    if cues:
        assert cues[0].start == "new_wipe"
    for before, job, cue in zip(all_jobs, all_jobs[1:], cues[1:], strict=False):
        if job.dirt_rank < before.dirt_rank or job.agent != before.agent:
            assert cue.start == "new_wipe"


def test_a_folded_wipe_of_eight_faces():
    # Common practice, no source: folded in half three times, a wipe has eight clean faces.
    cues = plan_wipes(
        [WipeJob(8000, 2000, "a", 1), WipeJob(6000, 2000, "a", 2), WipeJob(4000, 2000, "a", 3)], 8
    )
    assert [(c.start, c.faces, c.wipes) for c in cues] == [
        ("new_wipe", 4, 1),
        ("fresh_face", 3, 0),
        ("new_wipe", 2, 1),
    ]


def test_areas_must_be_positive():
    for area, face in ((0, 1), (1, 0)):
        with pytest.raises(ValueError):
            faces_needed(area, face)
    with pytest.raises(ValueError):
        plan_wipes([], 0)
    assert faces_needed(1, 1) == 1


def test_equally_dirty_surfaces_share_a_wipe_face_after_face():
    cues = plan_wipes([WipeJob(2000, 2000, "a", 3), WipeJob(2000, 2000, "a", 3)], 8)
    assert [(c.start, c.wipes) for c in cues] == [("new_wipe", 1), ("fresh_face", 0)]
