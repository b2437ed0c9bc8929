"""Pressure units against REFERENCES.md (1 in. w.c. = 249.09 Pa) and the containment range of USP <800>."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.calc.pressure import in_wc_to_pa, pa_to_in_wc, within
from assistant.procedure.loading.units import convert


@pytest.mark.parametrize(("in_wc", "pa"), [("-0.01", "-2.49"), ("-0.03", "-7.47"), ("1", "249.09")])
def test_containment_room_range(in_wc, pa):
    # USP <800> (summary): -0.01 to -0.03 in. w.c.; -2.49 to -7.47 Pa (computed, REFERENCES.md).
    assert round(in_wc_to_pa(Decimal(in_wc)), 2) == Decimal(pa)


@given(st.decimals(min_value=-1000, max_value=1000, places=3))
def test_there_and_back(pa):
    assert abs(in_wc_to_pa(pa_to_in_wc(pa)) - pa) < Decimal("1e-9")


def test_site_files_use_the_same_factor():
    assert abs(convert("-0.25 in. w.c.", "Pa") - in_wc_to_pa(Decimal("-0.25"))) < Decimal("1e-6")


def test_limits_keep_the_sign_of_the_gauge():
    low, high = Decimal("-90"), Decimal("-40")
    assert within(Decimal("-40"), low, high) and within(Decimal("-90"), low, high)
    assert not within(Decimal("60"), low, high) and not within(Decimal("-39.9"), low, high)
