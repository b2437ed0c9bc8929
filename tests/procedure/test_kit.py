"""The kit: volumes from areas and coverage by hand, dilution as OIML R 22 has it, refused for isopropyl alcohol."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from assistant.errors import UsageError
from assistant.procedure.commands.kit_cli import kit as kit_command
from assistant.procedure.loading.load import load_procedure
from assistant.procedure.paper.kit import _dilution, kit


@pytest.fixture(scope="module")
def light():
    return load_procedure("gb-2-light-clean")


def test_volume_by_hand(light):
    # Alcohol on both trays: 2 x 2600 cm2 = 0.52 m2 at 20 mL/m2 = 10.4 mL; x 1.2 = 12.48, rounded up 13 mL.
    k = kit(light, {"drugs_differ": False, "final_alcohol": True})
    assert {a.id: a.ml for a in k.agents}["alcohol"] == 13


def test_what_a_rewet_needs_is_in_it(light):
    # Disinfectant: (3600 + 1200 in the airlock, then 5000 + 2 x 3000 + 2 x 4500 + 2 x 2600) cm2
    # at 30 mL/m2, the window twice, x 1.2 = 108 mL.
    k = kit(light, {"drugs_differ": False, "final_alcohol": False})
    assert [(a.id, a.ml) for a in k.agents] == [("disinfectant", 108)]


def test_answers_change_the_list(light):
    few = kit(light, {"drugs_differ": False, "final_alcohol": False})
    many = kit(light, {"drugs_differ": True, "final_alcohol": True})
    assert {a.id for a in few.agents} == {"disinfectant"}
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
