"""Ethanol dilution against OIML R 22 (values computed from its coefficients, REFERENCES.md) and USP Diluted Alcohol."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.calc.dilution import (
    NotEthanolError,
    density_kg_m3,
    dilute,
    mass_fraction,
    mixed_volume_ml,
    strength_after_adding_water,
    volume_percent,
)


@pytest.mark.parametrize(
    ("v_v", "w_w", "density"),
    [
        (50, 42.426, 930.142),
        (70, 62.386, 885.562),
        (96, 93.838, 807.420),
        (100, 100.0, 789.239),
    ],
)
def test_oiml_r22_table_values_at_20_c(v_v, w_w, density):
    p = mass_fraction(v_v)
    assert 100 * p == pytest.approx(w_w, abs=0.001)
    assert density_kg_m3(p) == pytest.approx(density, abs=0.002)


def test_a_litre_of_70_percent_from_96_percent():
    # REFERENCES.md: 729.2 mL stock, 297.4 mL water because of contraction.
    d = dilute(total_ml=1000, wanted_percent=70, stock_percent=96)
    assert d.stock_ml == pytest.approx(729.2, abs=0.05)
    assert d.water_ml == pytest.approx(297.4, abs=0.1)


def test_adding_the_difference_instead_of_making_up_to_volume_is_too_strong():
    # REFERENCES.md: adding only 270.8 mL gives 71.8 %.
    assert strength_after_adding_water(stock_ml=729.2, stock_percent=96, water_ml=270.8) == pytest.approx(
        71.8, abs=0.05
    )


def test_usp_diluted_alcohol():
    # USP: 500 mL alcohol + 500 mL water give about 970 mL at 25 C, 48.4-49.5 % v/v. USP Alcohol is 94.9-96.0 % v/v.
    for stock in (94.9, 96.0):
        assert mixed_volume_ml(stock_ml=500, stock_percent=stock, water_ml=500) == pytest.approx(970, abs=3)
        assert 48.4 <= strength_after_adding_water(stock_ml=500, stock_percent=stock, water_ml=500) <= 49.6


@given(st.floats(min_value=0, max_value=100))
def test_strength_by_volume_and_by_mass_are_inverse(v_v):
    assert volume_percent(mass_fraction(v_v)) == pytest.approx(v_v, abs=1e-9)


@given(st.floats(min_value=10, max_value=95), st.floats(min_value=0.2, max_value=0.99))
def test_made_up_to_volume_it_has_the_wanted_strength(stock, part):
    wanted = stock * part
    d = dilute(total_ml=500, wanted_percent=wanted, stock_percent=stock)
    assert strength_after_adding_water(
        stock_ml=d.stock_ml, stock_percent=stock, water_ml=d.water_ml
    ) == pytest.approx(wanted, abs=1e-6)
    if stock > 60 and part < 0.9:  # weak mixtures expand a little on thinning, strong ones contract
        assert d.stock_ml + d.water_ml > d.total_ml


def test_isopropyl_alcohol_is_refused_with_the_reason():
    with pytest.raises(NotEthanolError, match="ethanol and water only"):
        dilute(total_ml=1000, wanted_percent=70, stock_percent=99, active="isopropyl_alcohol")


@pytest.mark.parametrize(
    "bad", [{"wanted_percent": 97}, {"wanted_percent": 0}, {"total_ml": 0}, {"total_ml": -5}]
)
def test_what_cannot_be_made_is_refused(bad):
    with pytest.raises(ValueError):
        dilute(**({"total_ml": 100, "wanted_percent": 70, "stock_percent": 96} | bad))


def test_mass_fractions_reach_from_water_to_ethanol_and_no_further():
    assert density_kg_m3(0) == pytest.approx(
        998.201, abs=0.001
    )  # OIML R 22, first coefficient: water at 20 C
    assert density_kg_m3(1) == pytest.approx(789.239, abs=0.001)
    for outside in (-0.001, 1.001):
        with pytest.raises(ValueError, match="between 0 and 1"):
            density_kg_m3(outside)
