"""How much is recited of what is wet: three names a person can keep (this project's own judgement, no source)."""

from __future__ import annotations

from dataclasses import replace

import pytest

from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import load_procedure
from assistant.session.initial import initial
from assistant.session.state import Contact
from assistant.session.words.answers import still_wet

SURFACES = ("back_wall", "left_wall", "right_wall", "window_inside", "left_tray")


@pytest.fixture(scope="module", params=["en", "ko"])
def plan(request):
    return compile_plan(load_procedure("gb-2-light-clean"), request.param)


def _wet(plan, surfaces):
    """Wetted in this order; each ends 10 s after the one before, the window dries before everything else ends."""
    contacts = {
        s: Contact(s, "x", "disinfectant", 0, 100_000 + 10_000 * i, 60_000 if s == "window_inside" else 300_000, 0)
        for i, s in enumerate(surfaces)
    }
    return still_wet(plan, replace(initial(plan), contacts=contacts))


def test_what_dries_first_is_named_first_then_two_more_and_how_many_are_left(plan):
    said = _wet(plan, SURFACES)
    named = [s for s in SURFACES if plan.surfaces[s].name in said]
    assert named == ["back_wall", "left_wall", "window_inside"] and "2" in said
    assert said.index(plan.surfaces["window_inside"].name) < said.index(plan.surfaces["back_wall"].name)


def test_three_are_all_named_and_no_number_of_others_is(plan):
    said = _wet(plan, SURFACES[:3])
    assert all(plan.surfaces[s].name in said for s in SURFACES[:3])
    assert ("more" if plan.language == "en" else "그 밖에") not in said
