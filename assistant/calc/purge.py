"""How long clean air must run to remove an airborne contaminant.

Source: CDC/HICPAC, Guidelines for Environmental Infection Control in Health-Care Facilities (2003), Appendix B:
t2 - t1 = -[ln(C2 / C1) / (Q / V)] x 60 minutes, with C2/C1 = 1 - removal, empty room, perfect mixing.
Imperfect mixing multiplies the time by a mixing factor of 1 to 10 (same source). A timer that is enforced must
round up, where the table of the source rounds to the nearest minute.
"""

from __future__ import annotations

import math


def purge_time_exact_s(
    *, volume_m3: float, airflow_m3_h: float, removal_fraction: float, mixing_factor: float = 1.0
) -> float:
    """Seconds to remove `removal_fraction` (0 < f < 1), not rounded. Raises ValueError outside its range."""
    for name, value in (("volume_m3", volume_m3), ("airflow_m3_h", airflow_m3_h)):
        if not (math.isfinite(value) and value > 0):
            raise ValueError(f"{name} must be positive, not {value}")
    if not 0 < removal_fraction < 1:
        raise ValueError(f"removal_fraction must lie between 0 and 1, not {removal_fraction}")
    if not (math.isfinite(mixing_factor) and mixing_factor >= 1):
        raise ValueError(f"mixing_factor is at least 1, not {mixing_factor}")
    air_changes_per_h = airflow_m3_h / volume_m3
    return -math.log(1 - removal_fraction) / air_changes_per_h * 3600 * mixing_factor


def purge_time_s(
    *, volume_m3: float, airflow_m3_h: float, removal_fraction: float, mixing_factor: float = 1.0
) -> int:
    """Whole seconds, rounded up (a billionth of tolerance keeps an exact whole second whole)."""
    exact = purge_time_exact_s(
        volume_m3=volume_m3,
        airflow_m3_h=airflow_m3_h,
        removal_fraction=removal_fraction,
        mixing_factor=mixing_factor,
    )
    return math.ceil(exact * (1 - 1e-9))


def purge_time_min(
    *, volume_m3: float, airflow_m3_h: float, removal_fraction: float, mixing_factor: float = 1.0
) -> int:
    """Whole minutes, rounded up."""
    exact = purge_time_exact_s(
        volume_m3=volume_m3,
        airflow_m3_h=airflow_m3_h,
        removal_fraction=removal_fraction,
        mixing_factor=mixing_factor,
    )
    return math.ceil(exact / 60 * (1 - 1e-9))


def air_changes_per_h(*, volume_m3: float, airflow_m3_h: float) -> float:
    """Air changes per hour by definition: airflow over volume. Raises ValueError unless both are positive."""
    if not (volume_m3 > 0 and airflow_m3_h > 0):
        raise ValueError("volume and airflow must be positive")
    return airflow_m3_h / volume_m3
