"""A patch whose agent wets nothing else that lies so: the author's file may say that, and the session goes on."""

from __future__ import annotations

from dataclasses import replace

from assistant.session.facts import contacts
from tests.session.rich_plan import rich_plan
from tests.session.walk import Walk


def test_a_patch_that_speaks_for_no_surface_can_be_confirmed() -> None:
    plan = rich_plan()
    steps = tuple(replace(s, agent="agent of no other step") if s.id == "patch" else s for s in plan.steps)
    walk = Walk(replace(plan, steps=steps), options=(("patch", True),), watch=False)
    walk.go("patch")
    walk.yes()
    walk.yes(after=60_000)
    assert walk.of(contacts.PatchWetted)
    assert walk.step != "patch"
