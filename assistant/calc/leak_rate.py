"""Leak tightness of an enclosure by the pressure-change method.

Hourly leak rate Tf = (60 / t) x (pn T1 / (p1 Tn) - 1), absolute pressures in Pa, temperatures in K, t in minutes:
pressure-change method of ISO 10648-2:1994 (formula from memory; it agrees with the ideal gas law, p / T = const).
Classes: ISO 10648-2:1994, hourly leak rate: 1 <= 5e-4, 2 < 2.5e-3, 3 < 1e-2, 4 < 1e-1 per hour.
"""

from __future__ import annotations

import math

CLASS_LIMITS_PER_H = {1: 5e-4, 2: 2.5e-3, 3: 1e-2, 4: 1e-1}


def hourly_leak_rate_per_h(
    *, start_pa: float, end_pa: float, start_k: float, end_k: float, minutes: float
) -> float:
    """Hourly leak rate per hour, positive where a chamber below ambient pressure takes in air.

    Absolute pressures in Pa, temperatures in K. Raises ValueError unless all are positive and finite.
    """
    values = {"start_pa": start_pa, "end_pa": end_pa, "start_k": start_k, "end_k": end_k, "minutes": minutes}
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0):
            raise ValueError(f"{name} must be positive, not {value}")
    return (60 / minutes) * (end_pa * start_k / (start_pa * end_k) - 1)


def tightness_class(rate_per_h: float) -> int | None:
    """ISO 10648-2 class 1 to 4 for an hourly leak rate, None beyond class 4. The sign doesn't matter."""
    rate = abs(rate_per_h)
    if rate <= CLASS_LIMITS_PER_H[1]:
        return 1
    return next((c for c in (2, 3, 4) if rate < CLASS_LIMITS_PER_H[c]), None)


def pressure_change_at_rate_pa(*, rate_per_h: float, start_pa: float, minutes: float) -> float:
    """Change in Pa that a leak rate makes at constant temperature: start x rate x hours."""
    return start_pa * rate_per_h * minutes / 60


def pressure_change_by_temperature_pa(*, start_pa: float, start_k: float, change_k: float) -> float:
    """Change in Pa of a tight chamber when its temperature changes (ideal gas law, constant volume)."""
    if start_k <= 0:
        raise ValueError("temperatures are in kelvin")
    return start_pa * change_k / start_k
