""""Which one?" over many surfaces: every one wetted so far can be chosen, a few in a line, the newest first (common
practice, no source: nobody keeps twenty names of a line in mind)."""

from __future__ import annotations

import re
from functools import lru_cache

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.language import vocabulary as w
from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import load_procedure
from assistant.procedure.model import plan as p
from assistant.session import inputs
from assistant.session.facts import lines, troubles
from assistant.session.facts.steps import StepConfirmed
from assistant.session.state import State
from assistant.session.view import view
from assistant.session.words.offering import GROUP, offered, said_now
from tests.session.walk import Walk
from tests.session.wall_plan import look, wall, walls

SAID = re.compile(r"(\d+): ([^.]+)\.")


@lru_cache
def _touched_at_the_end() -> Walk:
    walk = Walk(compile_plan(load_procedure("gb-2-rigorous-clean"))).go("all_clean")
    walk.say("touched", after=1_000)
    return walk


def _again() -> Walk:
    """The same session, to be led on in another way."""
    done = _touched_at_the_end()
    walk = Walk(done.plan, watch=False)
    walk.state, walk.now, walk.facts = done.state, done.now, list(done.facts)
    return walk


def _wetted(walk: Walk) -> list[str]:
    """The surfaces wiped so far, the newest first."""
    wiped = [walk.plan.step(f.step).surface for f in walk.of(StepConfirmed) if not f.step.startswith("bridge:")]
    return list(dict.fromkeys(s for s in reversed(wiped) if s))


def _last(walk: Walk) -> str:
    return walk.of(lines.LineSpoken)[-1].text


def test_every_surface_wiped_so_far_can_be_chosen_the_newest_first():
    walk = _again()
    assert list(walk.state.which) == _wetted(walk) and len(walk.state.which) > 20
    assert {"ceiling", "diffuser", "airlock_walls", "outside_top"} <= set(walk.state.which)


def test_a_line_names_few_and_zero_brings_the_next_with_numbers_that_go_on_until_all_were_named():
    walk = _again()
    named: list[tuple[str, str]] = []
    for _ in range(-(-len(walk.state.which) // GROUP)):
        line = SAID.findall(_last(walk))
        assert 1 <= len(line) <= GROUP and _last(walk) == view(walk.plan, walk.state).line
        assert _last(walk).endswith("Say the number, zero for more, or cancel that.")
        named += line
        walk.value("0", 500)
    assert named == [(str(n), walk.plan.surfaces[s].name) for n, s in enumerate(walk.state.which, 1)]
    assert SAID.findall(_last(walk)) == named[:GROUP]  # after the last the first again


@pytest.mark.parametrize("source", ["voice", "keys"])
def test_one_of_a_later_line_is_chosen_by_its_number(source: str):
    walk = _again()
    number = walk.state.which.index("ceiling") + 1
    while number > offered(walk.state):
        walk.after(1_000)
        walk.give(inputs.Value("0", source=source))
    walk.after(1_000)
    walk.give(inputs.Value(str(number), source=source))
    assert [f.surface for f in walk.of(troubles.SurfaceSpoiled)] == ["ceiling"]
    assert walk.state.which == () and walk.state.which_from == 0


def test_a_number_that_was_not_named_yet_is_refused_and_one_named_before_still_counts():
    walk = _again()
    walk.value(str(GROUP + 1), 500)
    assert walk.mode == "which" and not walk.of(troubles.SurfaceSpoiled)
    walk.value("0", 500)
    first = walk.state.which[0]
    walk.value("1", 500)
    assert [f.surface for f in walk.of(troubles.SurfaceSpoiled)] == [first]


def test_repeat_says_the_line_at_hand_and_cancel_goes_back():
    walk = _again()
    walk.value("0", 500)
    line = _last(walk)
    walk.say(w.REPEAT, after=500)
    assert _last(walk) == line
    walk.say(w.CANCEL, after=500)
    assert (walk.mode, walk.step) == ("step", "all_clean") and not walk.of(troubles.SurfaceSpoiled)


@given(st.integers(1, 60), st.integers(0, 30))
def test_every_choice_is_named_once_a_round_and_only_named_ones_are_offered(n: int, asked: int):
    named: list[int] = []
    for turn in range(asked + 1):
        state = State(which=tuple(map(str, range(n))), which_from=turn * GROUP)
        named += said_now(state)
        assert set(named) == set(range(offered(state)))
    rounds, rest = divmod(len(named), n)
    assert sorted(named[: rounds * n]) == sorted(list(range(n)) * rounds) and rest == len(named) - rounds * n


def test_where_few_were_wiped_no_more_is_offered():
    touched = p.Mishap("touched", "touched", "touched", (), (p.Spoil(p.SPOIL_CHOSEN),))
    walk = Walk(walls(wall("back", 60_000, 200_000), wall("left", 60_000, 200_000), look(), mishaps={"touched": touched}))
    walk.go("look")
    walk.say("touched", after=1_000)
    assert walk.state.which == ("left", "back") and _last(walk).endswith("Say the number, or cancel that.")
    walk.value("0", 500)
    assert walk.mode == "which" and walk.state.which_from == 0
