"""A tray that is down, a door that is shut: whatever is wiped there again must have it lifted or open (common practice,
no source: nobody reaches under a tray that lies in its place)."""

from __future__ import annotations

import shutil
from dataclasses import replace
from functools import lru_cache

import pytest

from assistant.procedure.loading.load import load_procedure
from assistant.procedure.loading.source import default_folder
from assistant.procedure.rules.check import check_procedure
from assistant.prover.bounds import Bounds
from assistant.prover.proof import prove_procedure
from assistant.prover.requirements import Task, of_files
from assistant.prover.watching.trays import ways
from assistant.session.order import settle
from assistant.session.timing import timers

NAME = "pi-1-under-work-surface"
ONE_MISHAP = Bounds(depth=1, moments=1)
PART = "parts/under-tray.yaml"
REQUIRES = '    requires: [{opening: "{space}", is: open}]\n'


@lru_cache
def _need():
    return of_files(load_procedure(NAME))


@pytest.fixture
def folder(tmp_path):
    copy = tmp_path / "procedures"
    shutil.copytree(default_folder(), copy)
    return copy


def _edit(folder, *swaps: tuple[str, str], part: str = PART) -> None:
    path = folder / part
    text = path.read_text(encoding="utf-8")
    for old, new in swaps:
        assert old in text
        text = text.replace(old, new)
    path.write_text(text, encoding="utf-8")


def _by_instruction(folder) -> None:
    """As a file has it that lifts and lowers by instructions, which nothing can require."""
    _edit(
        folder, (REQUIRES, ""), ('    do: open\n    opening: "{space}"\n', '    do: instruct\n    role: lift_tray\n    surface: "{tray}"\n'),
        ('    do: close\n    opening: "{space}"\n', '    do: instruct\n    role: lower_tray\n    surface: "{tray}"\n'),
        ("  - {id: space}\n", "  - {id: tray}\n"),
    )
    path = folder / "pi-1" / f"{NAME}.yaml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("space: under_left_plate", "tray: left_plate").replace(
        "space: under_right_plate", "tray: right_plate"), encoding="utf-8")


def test_the_shipped_file_holds():
    assert prove_procedure(load_procedure(NAME), bounds=ONE_MISHAP, processes=1).proven


def test_a_file_whose_wiping_does_not_require_the_plate_lifted_is_refuted(folder):
    _edit(folder, (REQUIRES, ""))
    loaded = load_procedure(NAME, folder)
    example = prove_procedure(loaded, bounds=ONE_MISHAP, processes=1).counterexample
    assert example is not None and example.prop == "way_open"
    assert "is asked for with the space under the left plate closed" in example.text
    assert {f.rule for f in check_procedure(loaded)} == {"way-not-required"}


@pytest.mark.parametrize(("name", "part", "required", "told"), [
    ("gb-2-end-of-day", "parts/waste-to-airlock.yaml", "    requires: [{opening: inner_door, is: open}]\n",
     "waste-to-airlock.yaml:"),
    ("gb-2-end-of-day", "parts/waste-from-airlock.yaml", "    requires: [{opening: outer_door, is: open}]\n",
     "the outer door closed"),
    ("pi-1-under-work-surface", "parts/bag-out.yaml", "    requires: [{opening: port_cover, is: open}]\n",
     "the bag-out cover closed"),
    ("gb-2-light-clean", "parts/load-wiped-airlock.yaml", ", {opening: inner_door, is: open}]", "the inner door closed"),
])
def test_a_file_that_passes_something_through_without_requiring_the_way_open_is_refuted(folder, name, part, required, told):
    _edit(folder, (required, "" if required.endswith("\n") else "]"), part=part)
    loaded = load_procedure(name, folder)
    found = check_procedure(loaded)
    assert {f.rule for f in found} == {"way-not-required"} and all(f.file.endswith(part) for f in found)
    example = prove_procedure(loaded, bounds=ONE_MISHAP, processes=1).counterexample
    assert example is not None and example.prop == "way_open" and told in example.text


@pytest.mark.parametrize("step", ["reach_in", "window_wipes_in", "reach_out"])
def test_what_is_done_through_the_window_without_requiring_it_open_is_named(folder, step):
    path = folder / "gb-2" / "gb-2-rigorous-clean.yaml"
    before, at, after = path.read_text(encoding="utf-8").partition(f"  - id: {step}\n")
    path.write_text(before + at + after.replace("    requires: [{opening: window, is: open}]\n", "", 1), encoding="utf-8")
    loaded = load_procedure("gb-2-rigorous-clean", folder)
    found = check_procedure(loaded)
    assert [(f.rule, f.message.partition(" ")[0]) for f in found] == [("way-not-required", step)]
    assert ways(of_files(loaded), {"open_window": True})[step] == (frozenset({"window"}), frozenset())


def test_what_stays_on_one_side_of_an_open_door_need_not_have_it_open():
    at = ways(of_files(load_procedure("gb-2-light-clean")), {"drugs_differ": True})
    assert "load.hang_in" in at and "load.close_inner" in at
    assert not {"load.bin_wipes", "load.change_gloves", "load.close_outer", "load.hands_in"} & at.keys()


def test_a_file_that_lifts_the_plate_by_an_instruction_is_refuted_and_told_how_to_mend_it(folder):
    _by_instruction(folder)
    loaded = load_procedure(NAME, folder)
    example = prove_procedure(loaded, bounds=ONE_MISHAP, processes=1).counterexample
    assert example is not None and example.prop == "way_open" and "left plate not lifted" in example.text
    found = check_procedure(loaded)
    assert {f.rule for f in found} == {"way-not-required"}
    assert "requires: [{opening: under_left_plate, is: open}]" in found[0].suggestion


def test_what_is_open_at_a_step_follows_the_files_order_and_the_answers():
    at = ways(_need(), {})
    assert at["left.first.left_sump"] == (frozenset({"under_left_plate"}), frozenset())
    assert at["right.then.right_sump"] == (frozenset({"under_right_plate"}), frozenset())
    tasks = (
        Task("up", "instruct", (("deep", True),), role="lift_tray", tray="left_plate"),
        Task("wipe", "wet", surface="left_sump"),
        Task("down", "instruct", role="lower_tray", tray="left_plate"),
        Task("after", "wet", surface="left_sump"),
    )
    made = replace(_need(), tasks=tasks, order={t.id: i for i, t in enumerate(tasks)}, needed={})
    assert ways(made, {"deep": True}) == {"wipe": (frozenset(), frozenset({"left_plate"}))}
    assert ways(made, {"deep": False}) == {}


def _dries_early(folder) -> None:
    """The airlock's walls dry before the contact is over, so that they are always to be wetted again."""
    path = folder / "agents" / "northmere.yaml"
    text = path.read_text(encoding="utf-8")
    assert text.count("wall: 200 s") == 1
    path.write_text(text.replace("wall: 200 s", "wall: 125 s"), encoding="utf-8")


def test_a_core_that_asks_for_a_re_wet_through_a_shut_door_is_refuted(folder, monkeypatch):
    _dries_early(folder)
    loaded = load_procedure("gb-2-light-clean", folder)
    for module in (timers, settle):
        monkeypatch.setattr(module, "in_reach", lambda state, step: step.reach in ("", state.hands))
    example = prove_procedure(loaded, bounds=ONE_MISHAP, processes=1).counterexample
    assert example is not None and example.prop == "way_open"
    assert "the airlock walls: asked to be wetted again with the outer door closed" in example.text


def test_a_door_shut_while_what_was_wetted_through_it_may_dry_is_named(folder):
    _dries_early(folder)
    found = check_procedure(load_procedure("gb-2-light-clean", folder))
    assert {(f.rule, f.message) for f in found if "outer_door" in f.message} == {
        ("rewet-out-of-reach", "outer_door closes while airlock_walls may need wetting again.")}
    assert found[0].file.endswith("load-wiped-airlock.yaml") and "Wait for airlock_walls" in found[0].suggestion
