"""Pressure in the units of gauges. 1 in. w.c. = 249.09 Pa (conventional, water at 4 C: 249.08891 Pa, NIST SP 811)."""

from __future__ import annotations

from decimal import Decimal

PA_PER_IN_WC = Decimal("249.08891")


def in_wc_to_pa(in_wc: Decimal) -> Decimal:
    """Inches of water column to Pa, exact decimal; the sign is kept."""
    return in_wc * PA_PER_IN_WC


def pa_to_in_wc(pa: Decimal) -> Decimal:
    """Pa to inches of water column; the sign is kept."""
    return pa / PA_PER_IN_WC


def within(value: Decimal, low: Decimal | None, high: Decimal | None) -> bool:
    """Whether a reading lies within its limits, ends included; signs as the gauge shows them."""
    return (low is None or value >= low) and (high is None or value <= high)
