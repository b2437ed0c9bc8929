"""Where each calculation's range ends: the last value in is taken, the first one out is refused by its name.

The ends are definitions: a share lies between none and all, a volume is more than nothing, kelvin begin at zero.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from decimal import Decimal

import pytest

from assistant.calc.dilution import WATER_KG_M3, dilute, mixed_volume_ml, strength_after_adding_water
from assistant.calc.due import Interval, due_date
from assistant.calc.leak_rate import pressure_change_by_temperature_pa
from assistant.calc.pressure import within
from assistant.calc.purge import air_changes_per_h, purge_time_min, purge_time_s
from assistant.calc.speech_length import SYLLABLES_PER_S_KO, sentence_ms
from assistant.calc.wetting import agent_ml, largest_area_cm2, shortest_lead_ms, wetting_passes, wiping_ms

REFUSED: dict[str, tuple[Callable[[], object], str]] = {
    "nothing of stock": (
        lambda: strength_after_adding_water(stock_ml=0, stock_percent=96, water_ml=10),
        "volumes must be positive",
    ),
    "less than no water": (
        lambda: strength_after_adding_water(stock_ml=10, stock_percent=96, water_ml=-0.1),
        "volumes must be positive",
    ),
    "a strength of nothing": (
        lambda: dilute(total_ml=100, wanted_percent=0, stock_percent=96),
        "can't be made",
    ),
    "stock beyond pure": (
        lambda: dilute(total_ml=100, wanted_percent=70, stock_percent=100.5),
        "can't be made",
    ),
    "no volume to make": (
        lambda: dilute(total_ml=0, wanted_percent=70, stock_percent=96),
        "volume must be positive",
    ),
    "zero kelvin": (
        lambda: pressure_change_by_temperature_pa(start_pa=1e5, start_k=0, change_k=1),
        "kelvin",
    ),
    "no volume of air": (lambda: air_changes_per_h(volume_m3=0, airflow_m3_h=10), "must be positive"),
    "no airflow": (lambda: air_changes_per_h(volume_m3=1, airflow_m3_h=0), "must be positive"),
    "a lead as long as the wet time": (
        lambda: wetting_passes(contact_ms=60_000, wet_ms=10_000, lead_ms=10_000, wiping_ms=0),
        "before the surface has been wetted",
    ),
    "less than no area to wipe": (lambda: wiping_ms(area_cm2=-1, speed_cm2_s=250), "must be positive"),
    "no speed to wipe at": (lambda: wiping_ms(area_cm2=100, speed_cm2_s=0), "must be positive"),
    "no margin": (
        lambda: largest_area_cm2(wet_ms=1000, speed_cm2_s=250, margin=0),
        "margin must be positive",
    ),
    "less than no area to wet": (lambda: agent_ml(area_cm2=-1, coverage_ml_m2=30), "must be positive"),
    "less than no coverage": (lambda: agent_ml(area_cm2=100, coverage_ml_m2=-1), "must be positive"),
    "no pass": (lambda: agent_ml(area_cm2=100, coverage_ml_m2=30, passes=0), "must be positive"),
    "a request of less than no time": (
        lambda: shortest_lead_ms(request_ms=-1, wiping_ms=0),
        "can't be negative",
    ),
}


@pytest.mark.parametrize("name", REFUSED)
def test_the_first_value_out_of_range_is_refused_by_its_name(name: str) -> None:
    calculate, words = REFUSED[name]
    with pytest.raises(ValueError, match=words):
        calculate()


def test_a_due_date_beyond_the_calendars_last_year_is_refused_and_in_it_is_not() -> None:
    assert due_date(date(9999, 11, 30), Interval(months=1)) == date(9999, 12, 30)
    with pytest.raises(OverflowError, match="beyond the calendar"):
        due_date(date(9999, 12, 1), Interval(months=1))


def test_stock_used_as_it_is_and_pure_alcohol_are_taken() -> None:
    as_it_is = dilute(total_ml=100, wanted_percent=96, stock_percent=96)
    assert (as_it_is.stock_ml, as_it_is.water_ml) == (100, pytest.approx(0, abs=1e-9))
    assert dilute(total_ml=100, wanted_percent=70, stock_percent=100).stock_ml == pytest.approx(70)
    assert dilute(total_ml=100, wanted_percent=0.5, stock_percent=96).stock_ml == pytest.approx(
        0.5208, abs=1e-4
    )


def test_half_a_millilitre_of_stock_without_water_keeps_its_strength() -> None:
    kept = strength_after_adding_water(stock_ml=0.5, stock_percent=70, water_ml=0)
    assert kept == pytest.approx(70, abs=1e-6)
    assert strength_after_adding_water(stock_ml=50, stock_percent=70, water_ml=0.5) < 70


def test_no_water_added_leaves_the_volume_and_water_in_water_adds_up() -> None:
    assert mixed_volume_ml(stock_ml=100, stock_percent=70, water_ml=0) == pytest.approx(100, abs=1e-6)
    # Water in water doesn't contract; its density at 20 C is the table's own first coefficient.
    assert mixed_volume_ml(stock_ml=100, stock_percent=0, water_ml=50) == pytest.approx(150, abs=1e-6)
    assert 998 < WATER_KG_M3 < 999


def test_a_limit_on_one_side_only_leaves_the_other_open() -> None:
    low, high = Decimal(-50), Decimal(50)
    assert within(Decimal(-1000), None, high) and within(Decimal(1000), low, None)
    assert not within(Decimal(1000), None, high) and not within(Decimal(-1000), low, None)
    assert within(low, low, high) and within(high, low, high)


def test_an_exact_whole_time_stays_whole() -> None:
    # Definition: one air change removes 1 - 1/e of what is mixed in; e to the -1 is taken to 16 digits.
    one = 1 - 0.36787944117144233
    assert purge_time_s(volume_m3=1, airflow_m3_h=3600, removal_fraction=one) == 1
    assert purge_time_min(volume_m3=1, airflow_m3_h=60, removal_fraction=one) == 1
    assert purge_time_min(volume_m3=1, airflow_m3_h=59, removal_fraction=one) == 2
    assert air_changes_per_h(volume_m3=0.5, airflow_m3_h=0.5) == 1


def test_the_shortest_times_there_are_can_be_asked_about() -> None:
    assert wetting_passes(contact_ms=0, wet_ms=1, lead_ms=0, wiping_ms=0) == 1
    assert wetting_passes(contact_ms=2, wet_ms=2, lead_ms=1, wiping_ms=0) == 2
    assert shortest_lead_ms(request_ms=0, wiping_ms=0) == 8_000  # common practice, no source: putting down


def test_a_margin_multiplies_the_area_and_nothing_to_wet_takes_nothing() -> None:
    assert largest_area_cm2(wet_ms=10_000, speed_cm2_s=250, margin=0.5) == 1250
    assert agent_ml(area_cm2=0, coverage_ml_m2=30) == agent_ml(area_cm2=100, coverage_ml_m2=0) == 0
    assert agent_ml(area_cm2=10_000, coverage_ml_m2=30) == 30  # definition: 1 m2 is 10 000 cm2


def test_a_sentence_in_korean_is_counted_in_syllables_and_a_digit_in_two() -> None:
    assert sentence_ms("장갑") == round(2 / SYLLABLES_PER_S_KO * 1000)
    assert sentence_ms("장갑12") == round(6 / SYLLABLES_PER_S_KO * 1000)
