"""How long a machine cycle takes: the site's figure, or worked out from the published formula and rounded up."""

from __future__ import annotations

from typing import Any

from assistant.calc.purge import purge_time_s


def worked_out_ms(cycle: Any) -> int:
    """The formula's time in ms, rounded up to whole seconds; 0 when the file gives nothing to work out."""
    if cycle.work_out is None:
        return 0
    w = cycle.work_out
    return 1000 * purge_time_s(
        volume_m3=float(w.volume),
        airflow_m3_h=float(w.airflow),
        removal_fraction=float(w.removal) / 100,
        mixing_factor=float(w.mixing_factor),
    )


def cycle_duration_ms(cycle: Any) -> int:
    """The site's figure when given, else the worked-out one."""
    return cycle.duration if cycle.duration is not None else worked_out_ms(cycle)
