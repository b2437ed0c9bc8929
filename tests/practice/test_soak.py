"""What the core believes holds against the simulated enclosure; a bug planted in the core shows."""

from __future__ import annotations

import ast
import os
from dataclasses import replace
from pathlib import Path

import pytest

from assistant.errors import GauntletError
from assistant.practice.operator.persona import load_persona, persona_names
from assistant.practice.oracle import judge as oracle_module
from assistant.practice.oracle.steps import StepsJudge
from assistant.practice.oracle.times import TimesJudge
from assistant.practice.oracle.words import WordsJudge
from assistant.session import decide, inputs
from assistant.session.facts import KINDS
from assistant.station.script.script import parse_script
from tests.bench.practice import soak as soak_module
from tests.bench.practice.shrink import ddmin, faults_of, script_text, shrink
from tests.bench.practice.side_by_side import side_by_side
from tests.bench.practice.soak import KEEP, Fault, Soaked, one_session, soak, soak_side_by_side
from tests.bench.practice.soak_sound import poisson_upper

PEOPLE = [load_persona(name) for name in persona_names()]
QUICK = 500  # sessions in the default tests: most of a short procedure, some of a whole clean


def test_the_core_is_never_at_fault_in_five_hundred_sessions(plan, short_plan):
    whole, short = soak([plan], PEOPLE, 96, "tests"), soak([short_plan], PEOPLE, QUICK - 96, "tests")
    for total in (whole, short):
        assert not total.faults, [(f.seed, f.findings[:2]) for f in total.faults]
        assert total.completed > 0.85 * total.sessions
    assert whole.wrong["false_claim"] > 0, "the personas made no mistakes: nothing was tested"


SHARDS, EACH = 40, 500  # of the twenty thousand, so that two workers share them out


@pytest.mark.full
@pytest.mark.parametrize("shard", range(SHARDS))
def test_the_core_is_never_at_fault_in_twenty_thousand_sessions(plan, short_plan, shard):
    total = soak([plan, plan, plan, short_plan], PEOPLE, EACH, "full", first=shard * EACH)
    assert total.sessions == EACH and SHARDS * EACH == 20_000
    assert not total.faults, [(f.seed, f.findings[:2]) for f in total.faults]


def test_the_figures_do_not_depend_on_how_the_sessions_are_shared_out(short_plan, monkeypatch):
    monkeypatch.setattr(soak_module, "STRETCH", 5)
    one = soak([short_plan], PEOPLE, 12, "shared")
    two = soak_side_by_side([short_plan], PEOPLE, 12, "shared", jobs=2)
    one.taken_s = two.taken_s = 0.0
    assert one == two and one.sessions == 12


def test_faults_are_kept_in_order_and_only_the_first_of_them():
    def found(first):
        return Soaked(sessions=15, faults=[Fault("careful", "p", str(n), [], []) for n in range(first, first + 15)])

    total = Soaked()
    for first in (0, 15):
        total.add(found(first))
    assert [f.seed for f in total.faults] == [str(n) for n in range(KEEP)] and total.sessions == 30


def test_the_oracle_imports_nothing_of_the_core():
    room = Path(oracle_module.__file__).parent
    files = [*(p for p in room.glob("*.py") if p.name not in ("__init__.py", "moments.py")),
             room.parent / "enclosure" / "simulated.py"]
    assert len(files) >= 6
    for path in files:
        tree = ast.parse(path.read_text())
        imported = [n.module or "" for n in ast.walk(tree) if isinstance(n, ast.ImportFrom)]
        assert imported and not [m for m in imported if m.startswith("assistant.session")], path


def test_every_part_of_the_oracle_waits_for_facts_there_are():
    parts = (WordsJudge, StepsJudge, TimesJudge)
    kinds = [name.removeprefix("on_") for part in parts for name in vars(part) if name.startswith("on_")]
    assert len(kinds) == len(set(kinds)) and set(kinds) <= set(KINDS)


def short_contact(plan, state, given, now_ms):
    steps = tuple(replace(s, contact_ms=s.contact_ms // 2) for s in plan.steps)
    return decide(replace(plan, steps=steps), state, given, now_ms)


def short_cycle(plan, state, given, now_ms):
    cycles = {k: replace(c, duration_ms=c.duration_ms // 3) for k, c in plan.cycles.items()}
    return decide(replace(plan, cycles=cycles), state, given, now_ms)


def no_interlock(plan, state, given, now_ms):
    openings = {k: replace(o, opens_when=()) for k, o in plan.openings.items()}
    steps = tuple(replace(s, wait_for=()) if s.kind == "wait" else s for s in plan.steps)
    return decide(replace(plan, openings=openings, interlocks=(), steps=steps), state, given, now_ms)


def chat_confirms(plan, state, given, now_ms):
    if isinstance(given, inputs.Misheard) and state.mode == "step":
        given = inputs.Word("confirm", given.started_ms, given.ended_ms, "voice", given.said)
    return decide(plan, state, given, now_ms)


def drops_a_step(plan, state, given, now_ms):
    return decide(replace(plan, steps=plan.steps[:8] + plan.steps[9:]), state, given, now_ms)


def puts_every_cycle_off(plan, state, given, now_ms):
    """A purge that never ran isn't a broken one: it can't be left for later."""
    cycles = [s for s in plan.steps if s.kind == "cycle"]
    rest = tuple(s for s in plan.steps if s.kind != "cycle")
    return decide(replace(plan, steps=(*rest[:-1], *cycles, rest[-1])), state, given, now_ms)


def breaks(plan, state, given, now_ms):
    if isinstance(given, inputs.Word) and given.word == "confirm" and len(state.confirmed) == 5:
        raise KeyError("planted")
    return decide(plan, state, given, now_ms)


@pytest.mark.parametrize("planted", [short_contact, short_cycle, no_interlock, chat_confirms, drops_a_step, puts_every_cycle_off, breaks])
def test_a_planted_bug_raises_the_count(plan, planted):
    people = [load_persona("chatty"), load_persona("careful")]
    assert soak([plan], people, 4, "planted").wrong["engine_fault"] == 0
    assert soak([plan], people, 4, "planted", decide_with=planted).wrong["engine_fault"] > 0


def test_a_fault_is_cut_down_to_a_short_script_that_still_shows_it(plan):
    run, _ = one_session(plan, load_persona("brisk"), "shrink", decide_with=breaks, keep_inputs=True, mishaps=False)
    small = shrink(plan, run.given, breaks)
    assert faults_of(plan, small, breaks) and not faults_of(plan, small)
    assert len(small) <= 16 < len(run.given)
    assert [given for _, given in parse_script(script_text(small).splitlines())] == [given for _, given in small]


def test_ddmin_finds_the_two_that_matter():
    items = [(i, inputs.Tick()) for i in range(64)]
    found = ddmin(items, lambda part: {3, 40} <= {at for at, _ in part})
    assert sorted(at for at, _ in found) == [3, 40]


def test_no_event_in_twenty_hours_bounds_the_rate_at_three_in_twenty():
    # Hanley and Lippman-Hand, If nothing goes wrong, is everything all right?, JAMA 249, 1983: 3 / n at 95 %
    assert abs(poisson_upper(0, 20.0) - 3 / 20) < 0.001
    # one-sided 95 % limit for 1 event: chi-squared(0.95, 4) / 2 = 4.744 (standard tables)
    assert abs(poisson_upper(1, 1.0) - 4.744) < 0.001


def test_a_process_that_is_ended_from_outside_gives_a_sentence():
    with pytest.raises(GauntletError, match="ended from outside"):
        list(side_by_side(os._exit, [1, 1], 2))


def test_nobody_is_stuck_in_a_clean_with_a_patch_test(under_surface):
    total = soak([under_surface], PEOPLE, 36, 1)
    assert not total.faults, [(f.seed, f.findings[:2]) for f in total.faults]
    assert not [verdict for verdict in total.verdicts if verdict.startswith("open in")]
    assert total.completed > 0.85 * total.sessions
