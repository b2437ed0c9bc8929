"""Diluting ethanol by volume, with the contraction of the mixture.

Density of ethanol-water mixtures at 20 C: OIML R 22 (1975), International Alcoholometric Tables, general formula,
whose terms in temperature vanish at 20 C: rho = sum over k = 1..12 of A_k p^(k-1), p the mass fraction of ethanol.
Checked against the values of REFERENCES.md. Ethanol only: none of it holds for isopropyl alcohol.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

# OIML R 22, coefficients A_1 to A_12, kg/m3.
_A = (
    9.982012300e2,
    -1.929769495e2,
    3.891238958e2,
    -1.668103923e3,
    1.352215441e4,
    -8.829278388e4,
    3.062874042e5,
    -6.138381234e5,
    7.470172998e5,
    -5.478461354e5,
    2.234460334e5,
    -3.903285426e4,
)
ETHANOL_KG_M3 = math.fsum(_A)  # p = 1: 789.24 kg/m3
WATER_KG_M3 = _A[0]


class NotEthanolError(ValueError):
    """Asked for an alcohol these tables don't describe."""


def density_kg_m3(mass_fraction: float) -> float:
    """Density at 20 C of a mixture with this mass fraction of ethanol (0 to 1). Raises ValueError outside."""
    if not 0 <= mass_fraction <= 1:
        raise ValueError(f"the mass fraction lies between 0 and 1, not {mass_fraction}")
    return math.fsum(a * mass_fraction**k for k, a in enumerate(_A))


def volume_percent(mass_fraction: float) -> float:
    """% v/v at 20 C, by definition: ethanol's mass in the mixture's volume over pure ethanol's density."""
    return 100 * mass_fraction * density_kg_m3(mass_fraction) / ETHANOL_KG_M3


def mass_fraction(volume_percent_v_v: float) -> float:
    """Mass fraction for a % v/v at 20 C, by bisection (the relation rises all the way). Raises ValueError."""
    if not 0 <= volume_percent_v_v <= 100:
        raise ValueError(f"the strength lies between 0 and 100 % v/v, not {volume_percent_v_v}")
    low, high = 0.0, 1.0
    for _ in range(80):
        middle = (low + high) / 2
        if volume_percent(middle) < volume_percent_v_v:
            low = middle
        else:
            high = middle
    return (low + high) / 2


@dataclass(frozen=True, slots=True)
class Dilution:
    """Millilitres at 20 C: measure `stock_ml`, then make UP TO `total_ml`; that takes `water_ml` of water."""

    stock_ml: float
    water_ml: float
    total_ml: float


def dilute(
    *, total_ml: float, wanted_percent: float, stock_percent: float, active: str = "ethanol"
) -> Dilution:
    """What makes `total_ml` of ethanol at `wanted_percent` v/v from `stock_percent` v/v, all at 20 C.

    The stock follows from ethanol's volume by definition of % v/v; the water from the masses, so contraction is
    in it. Raises NotEthanolError for another alcohol, ValueError when the stock is too weak or a value is off.
    """
    if active != "ethanol":
        raise NotEthanolError(
            f"OIML R 22 describes ethanol and water only; {active.replace('_', ' ')} contracts differently. "
            "Buy it ready to use, or follow its maker's table."
        )
    if not (math.isfinite(total_ml) and total_ml > 0):
        raise ValueError(f"the volume must be positive, not {total_ml}")
    if not 0 < wanted_percent <= stock_percent <= 100:
        raise ValueError(f"{wanted_percent} % can't be made from {stock_percent} %")
    stock_ml = total_ml * wanted_percent / stock_percent
    total_g = total_ml * density_kg_m3(mass_fraction(wanted_percent)) / 1000
    stock_g = stock_ml * density_kg_m3(mass_fraction(stock_percent)) / 1000
    return Dilution(stock_ml, (total_g - stock_g) / WATER_KG_M3 * 1000, total_ml)


def strength_after_adding_water(*, stock_ml: float, stock_percent: float, water_ml: float) -> float:
    """% v/v at 20 C after ADDING a volume of water to stock instead of making up to volume. Raises ValueError."""
    if stock_ml <= 0 or water_ml < 0:
        raise ValueError("volumes must be positive")
    p = mass_fraction(stock_percent)
    stock_g = stock_ml * density_kg_m3(p) / 1000
    total_g = stock_g + water_ml * WATER_KG_M3 / 1000
    return volume_percent(stock_g * p / total_g)


def mixed_volume_ml(*, stock_ml: float, stock_percent: float, water_ml: float) -> float:
    """Volume in mL at 20 C of stock and water together, less than their sum by the contraction."""
    p = mass_fraction(stock_percent)
    stock_g = stock_ml * density_kg_m3(p) / 1000
    total_g = stock_g + water_ml * WATER_KG_M3 / 1000
    return total_g / density_kg_m3(stock_g * p / total_g) * 1000
