"""Wet time against contact time: the definitions, and the published trial that shows why they matter."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.calc.wetting import agent_ml, largest_area_cm2, shortest_lead_ms, wetting_passes, wiping_ms


def test_wipes_dry_within_3_minutes_cannot_hold_a_4_minute_label_without_a_second_wetting():
    # Rutgers plant & pest advisory (read): dry within 3 minutes over 4 ft2; labels often ask for 4 minutes or more.
    assert wetting_passes(contact_ms=240_000, wet_ms=180_000, lead_ms=10_000, wiping_ms=15_000) == 2


def test_at_equality_dried_wins():
    assert wetting_passes(contact_ms=50_000, wet_ms=60_000, lead_ms=5_000, wiping_ms=10_000) == 2
    assert wetting_passes(contact_ms=49_999, wet_ms=60_000, lead_ms=5_000, wiping_ms=10_000) == 1


@given(st.integers(0, 600_000), st.integers(2_000, 600_000), st.data())
def test_the_passes_keep_it_wet_through_the_whole_contact(contact, wet, data):
    wiping = data.draw(st.integers(0, wet - 1))
    lead = data.draw(st.integers(0, wet - 1))
    passes = wetting_passes(contact_ms=contact, wet_ms=wet, lead_ms=lead, wiping_ms=wiping)
    covered = wet + (passes - 1) * (wet - lead)
    assert covered > wiping + contact
    assert passes == 1 or covered - (wet - lead) <= wiping + contact  # not one more than needed


@pytest.mark.parametrize("bad", [{"wet_ms": 0}, {"wiping_ms": 60_000}, {"contact_ms": -1}])
def test_what_cannot_be_kept_wet_is_refused(bad):
    with pytest.raises(ValueError):
        wetting_passes(
            **({"contact_ms": 60_000, "wet_ms": 60_000, "lead_ms": 5_000, "wiping_ms": 5_000} | bad)
        )


def test_a_request_to_wet_again_leaves_slow_people_time():
    # Common practice, no source: the request, 1.3 times the wiping, and 8 s to put down what is in hand.
    assert shortest_lead_ms(request_ms=6_000, wiping_ms=20_000) == 6_000 + 26_000 + 8_000
    with pytest.raises(ValueError):
        shortest_lead_ms(request_ms=6_000, wiping_ms=-1)


def test_area_volume_and_time_by_definition():
    # Definition: 4 ft2 = 3716 cm2 (1 ft = 30.48 cm); at 30 mL/m2 that is 11.1 mL.
    area = round(4 * 30.48**2)
    assert area == 3716
    assert agent_ml(area_cm2=area, coverage_ml_m2=30) == pytest.approx(11.15, abs=0.01)
    assert wiping_ms(area_cm2=2500, speed_cm2_s=250) == 10_000
    assert largest_area_cm2(wet_ms=10_000, speed_cm2_s=250) == 2500


def test_no_area_takes_no_time_and_no_wet_time_is_refused_by_its_name():
    assert wiping_ms(area_cm2=0, speed_cm2_s=250) == 0
    with pytest.raises(ValueError, match="wet time"):
        wetting_passes(contact_ms=0, wet_ms=0, lead_ms=0, wiping_ms=0)
