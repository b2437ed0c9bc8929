"""The shipped GB-2 light clean loads, compiles and holds what the demo counts on."""

from __future__ import annotations

import re

import pytest

from assistant.language.vocabulary import MISHAPS
from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import load_procedure
from assistant.procedure.model.plan import KINDS, REACHES, When
from tests.procedure.plan_runner import run_plan


@pytest.fixture(scope="module")
def plan():
    return compile_plan(load_procedure("gb-2-light-clean"))


def test_every_mishap_word_has_a_branch(plan):
    assert {m.word for m in plan.mishaps.values()} - {""} == set(MISHAPS)


def test_some_surface_dries_before_its_contact_time_and_is_asked_for_again(plan):
    assert [s.id for s in plan.steps if 0 < s.wet_ms < s.contact_ms and s.lead_ms]


def test_steps_are_of_known_kinds_with_a_reach_and_a_line(plan):
    for step in (*plan.steps, *(s for m in plan.mishaps.values() for s in m.steps)):
        assert step.kind in KINDS and step.reach in (*REACHES, "") and step.line > 0 and step.say


def test_no_placeholder_is_left_in_any_language(plan):
    for language in ("en", "ko"):
        p = compile_plan(load_procedure("gb-2-light-clean"), language)
        for step in (*p.steps, *(s for m in p.mishaps.values() for s in m.steps)):
            assert not re.search(r"[{}]", step.say + step.why + step.claim + step.brief)


def test_the_korean_wording_is_complete():
    p = compile_plan(load_procedure("gb-2-light-clean"), "ko")
    for step in (*p.steps, *(s for m in p.mishaps.values() for s in m.steps)):
        assert re.search(r"[가-힣]", step.say), step.id


def test_walls_come_before_the_trays_and_the_last_step_is_after_the_waste(plan):
    ids = [s.id for s in plan.steps]
    assert (
        ids.index("disinfect.back_wall")
        < ids.index("disinfect.window_inside")
        < ids.index("disinfect.left_tray")
    )
    assert ids.index("waste_out.change_gloves") < ids.index("settled") < ids.index("pressure_after")


def test_the_airlock_is_wiped_and_waited_for_before_the_inner_door(plan):
    ids = [s.id for s in plan.steps]
    door, close = ids.index("load.open_inner"), ids.index("load.close_outer")
    wait = plan.steps[door - 1]
    for surface in ("airlock_walls", "airlock_floor"):
        assert ids.index(f"load.wipe.{surface}") < close < door and surface in wait.wait_for
    assert "purge" in wait.wait_for


def test_the_inner_door_asks_for_the_airlocks_contacts_itself(plan):
    asked = {(c.kind, c.subject) for c in plan.step("load.open_inner").requires}
    assert {("contact", "airlock_walls"), ("contact", "airlock_floor"), ("cycle", "purge")} <= asked


def test_a_short_run_up_ends_before_the_closing_reading(plan):
    ids = [s.id for s in plan.steps]
    assert plan.cycles["settle"].duration_ms == 120_000 < plan.cycles["run_up"].duration_ms
    assert ids.index("start_settle") < ids.index("settled") < ids.index("pressure_after")
    assert set(plan.cycles["settle"].broken_by_openings) == {"inner_door", "window"}


def test_the_airlock_is_decontaminated_before_it_is_disinfected_where_the_drugs_differ(plan):
    # USP <800> (read, summary): decontamination between different hazardous drugs, before disinfection.
    ids = [s.id for s in plan.steps]
    for surface in ("airlock_walls", "airlock_floor"):
        residue = plan.step(f"load.residue.{surface}")
        assert residue.agent == "decontaminant" and residue.when == (When("drugs_differ", True),)
        assert ids.index(residue.id) < ids.index("load.residue_gone") < ids.index(f"load.wipe.{surface}")


def test_wipes_used_from_the_room_are_binned_before_clean_packs_are_touched_and_again_when_wiped_again(plan):
    ids = [s.id for s in plan.steps]
    assert ids.index("load.wipe.airlock_floor") < ids.index("load.bin_wipes") < ids.index("load.hang_in")
    assert plan.step("load.bin_wipes").after_wiping and plan.step("load.change_gloves").after_wiping
    assert not plan.step("load.hang_in").after_wiping


def test_the_airlock_wiped_again_opens_its_door_again_and_bins_its_wipes_again(plan):
    answers = {"drugs_differ": True, "final_alcohol": False}
    once = run_plan(plan, answers)
    again = run_plan(plan, answers, trouble={"load.gauntlets_whole": "dry_surface"})
    assert again.state.mode == "complete" and "bridge:open:outer_door" in again.bridges
    binned = plan.step("load.bin_wipes").say
    assert _count(again, binned) == _count(once, binned) + 1


def test_an_airlock_wall_left_out_and_then_needed_has_its_wipes_binned_too(plan):
    answers = {"drugs_differ": False, "final_alcohol": False}
    run = run_plan(plan, answers, trouble={"load.wipe.airlock_walls": "skip"})
    kinds = [(type(f).__name__, getattr(f, "step", "")) for f in run.facts]
    walls = kinds.index(("StepConfirmed", "load.wipe.airlock_walls"))
    assert ("StepConfirmed", "load.bin_wipes") in kinds[:walls]
    assert ("StepConfirmed", "load.bin_wipes") in kinds[walls:]


def test_a_door_opened_twice_keeps_its_first_time_limit():
    plan = compile_plan(load_procedure("gb-2-rigorous-clean"))
    answers = {o.id: False for o in plan.options}
    run = run_plan(plan, answers, trouble={"close_airlock": "skip"})
    opened = [f for f in run.facts if type(f).__name__ == "OpeningMoved" and f.opening == "outer_door"]
    first, second = [f for f in opened if f.to == "open"][:2]
    assert second.since_ms == first.since_ms >= 0


def _count(run, text):
    return sum(text in said for said in run.said)
