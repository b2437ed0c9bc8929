"""The kit: volumes from areas and coverage by hand, dilution as OIML R 22 has it, refused for isopropyl alcohol."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from click.testing import CliRunner

from assistant.errors import UsageError
from assistant.procedure.commands.kit_cli import kit as kit_command
from assistant.procedure.loading.load import load_procedure, procedure_names
from assistant.procedure.paper.kit import _dilution, kit


@pytest.fixture(scope="module")
def light():
    return load_procedure("gb-2-light-clean")


@pytest.mark.parametrize("name", procedure_names())
def test_the_kit_holds_what_the_branches_use(name):
    """Worked out from the branches' words: take the branch away and its things go too. Spill kit: USP <800>, from
    memory; scoop and sharps container: common practice, no source."""
    loaded = load_procedure(name)
    have = {tool for tool, _ in kit(loaded).tools}
    assert "sharps container" in have and any(tool.startswith("scoop") for tool in have)
    if loaded.enclosure.hazardous:
        assert {"spill kit for hazardous drugs", "absorbent pads"} <= have
        assert "decontaminant" in {a.id for a in kit(loaded).agents}
    without = replace(loaded, mishaps=tuple(m for m in loaded.mishaps if m.id not in ("sharps", "spill", "dropped-item")))
    if loaded.procedure.purpose != "spill":
        assert not {"sharps container", "absorbent pads"} & {tool for tool, _ in kit(without).tools}


def test_a_torn_glove_and_an_empty_pack_have_their_spares_in_the_kit(light):
    # The light clean changes its outer gloves once more where the drugs differ (by its file), and a tear needs a pair.
    k = kit(light, {"drugs_differ": False, "final_alcohol": False})
    assert (k.spare_glove_pairs, k.spare_inner_pairs) == (2, 1)
    assert set(k.spare_packs) == {"disinfectant", "decontaminant"}


def test_volume_by_hand(light):
    # Alcohol on both trays: 2 x 2600 cm2 = 0.52 m2 at 20 mL/m2 = 10.4 mL; x 1.2 = 12.48, rounded up 13 mL.
    k = kit(light, {"drugs_differ": False, "final_alcohol": True})
    assert {a.id: a.ml for a in k.agents}["alcohol"] == 13


def test_what_a_rewet_needs_is_in_it(light):
    # Disinfectant: (2 x (3600 + 1200) in the airlock, before the work and after the waste, then 5000 + 2 x 3000 + 2 x 4500 + 2 x 2600) cm2
    # at 30 mL/m2, the window twice, x 1.2 = 126 mL.
    k = kit(light, {"drugs_differ": False, "final_alcohol": False})
    # Decontaminant for a spill alone: (2 x 2600 + 1000) cm2 at 25 mL/m2, x 1.2 = 19 mL.
    assert [(a.id, a.ml) for a in k.agents] == [("disinfectant", 126), ("decontaminant", 19)]


def test_answers_change_the_list(light):
    few = kit(light, {"drugs_differ": False, "final_alcohol": False})
    many = kit(light, {"drugs_differ": True, "final_alcohol": True})
    assert {a.id for a in few.agents} == {"disinfectant", "decontaminant"}
    assert {a.id for a in many.agents} == {"disinfectant", "decontaminant", "alcohol"}
    assert many.headset_min > few.headset_min


def test_ethanol_is_diluted_up_to_volume():
    # OIML R 22: 50 % v/v from 96 %: 520.8 mL stock in 1000 mL (50 / 96).
    loaded = load_procedure("pi-1-rigorous-clean")
    ethanol = next(a for a in loaded.agents.agents if a.id == "ethanol")
    assert _dilution(ethanol, 1000).startswith("Measure 521 mL of 96 % stock. Make up to 1000 mL")


def test_isopropyl_alcohol_is_refused_with_the_reason():
    loaded = load_procedure("pi-1-rigorous-clean")
    ethanol = next(a for a in loaded.agents.agents if a.id == "ethanol")
    text = _dilution(ethanol.model_copy(update={"active": "isopropyl_alcohol"}), 1000)
    assert text.startswith("Not worked out:") and "ethanol and water only" in text


def test_the_command_prints_boxes_for_lot_and_expiry():
    result = CliRunner().invoke(
        kit_command, ["gb-2-light-clean"], standalone_mode=False, catch_exceptions=False
    )
    assert "lot [" in result.stdout and "expiry [" in result.stdout and "Headset" in result.stdout


def test_the_command_as_json():
    result = CliRunner().invoke(
        kit_command, ["gb-2-light-clean", "--json"], standalone_mode=False, catch_exceptions=False
    )
    assert json.loads(result.stdout)["procedure"] == "gb-2-light-clean"


@pytest.mark.parametrize("option", ["drugs_difer=yes", "drugs_differ", "drugs_differ=maybe"])
def test_a_wrong_answer_is_refused(option):
    with pytest.raises(UsageError):
        CliRunner().invoke(
            kit_command,
            ["gb-2-light-clean", "--option", option],
            standalone_mode=False,
            catch_exceptions=False,
        )
