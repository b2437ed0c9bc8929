"""Quantities as an author writes them ("6000 cm2", "3 min", "0.05 in. w.c.") into the units the plan uses.

The number is read by us (plain decimal, so that nothing is ever evaluated), the unit by pint.
"""

from __future__ import annotations

import re
from decimal import Decimal
from functools import lru_cache
from typing import Any

_QUANTITY = re.compile(
    r"\s*([-+]?[0-9]{1,12}(?:\.[0-9]{1,9})?)\s*([A-Za-z%µ°][A-Za-z0-9%µ°/.^* ]{0,23})?\s*\Z"
)
_POWER = re.compile(r"([a-z])([23])\b")

# The target unit of each dimension used in site files, and how an example reads.
TARGETS = {
    "ms": ("millisecond", "90 s"),
    "cm2": ("centimeter**2", "6000 cm2"),
    "mL": ("milliliter", "20 mL"),
    "m3": ("meter**3", "0.09 m3"),
    "m3/h": ("meter**3/hour", "60 m3/h"),
    "mL/m2": ("milliliter/meter**2", "30 mL/m2"),
    "cm2/s": ("centimeter**2/second", "150 cm2/s"),
    "Pa": ("pascal", "-60 Pa"),
    "%": ("percent", "70 %"),
    "h": ("hour", "24 h"),
    "day": ("day", "30 days"),
    "mm": ("millimeter", "76 mm"),
}


class QuantityError(ValueError):
    """Not a number with a unit, or a unit that can't become the one needed."""


@lru_cache(maxsize=1)
def _registry() -> Any:
    import pint  # half a second; only paid when files are loaded

    registry: Any = pint.UnitRegistry(cache_folder=None)
    # 1 in. w.c. = 249.09 Pa (REFERENCES.md, computed); the trade writes it several ways.
    registry.define("inch_water_column = 249.08891 pascal = in_wc")
    return registry


@lru_cache(maxsize=512)
def _factor(unit: str, target: str) -> Decimal:
    registry = _registry()
    try:
        source = registry.parse_units(unit)
        factor = registry.Quantity(1.0, source).to(TARGETS[target][0]).magnitude
    except Exception as error:  # pint raises many kinds: undefined, dimensionality, tokenising
        raise QuantityError(f"the unit {unit} can't be turned into {target}") from error
    return Decimal(repr(round(float(factor), 12)))


def normalise_unit(unit: str) -> str:
    """A unit as people write it into one pint reads: "cm2" -> "cm**2", "in. w.c." -> "in_wc"."""
    unit = unit.strip().replace("µ", "u")
    if re.fullmatch(r"in\.? ?w\.?c\.?|in\.? ?H2O", unit):
        return "in_wc"
    if unit == "%":
        return "percent"
    return _POWER.sub(r"\1**\2", unit.replace("^", ""))


def convert(text: object, target: str) -> Decimal:
    """`text` as a Decimal in the unit `target` (a key of TARGETS). Raises QuantityError with a plain reason."""
    example = TARGETS[target][1]
    if isinstance(text, bool) or not isinstance(text, (str, int, float)):
        raise QuantityError(f"expected a number with a unit, such as {example}")
    match = _QUANTITY.match(str(text))
    if match is None:
        raise QuantityError(f"{str(text)[:40]!r} isn't a number with a unit, such as {example}")
    number, unit = Decimal(match[1]), match[2]
    if unit is None:
        raise QuantityError(f"the unit is missing after {match[1]}; write for example {example}")
    return number * _factor(normalise_unit(unit), target)


def unit_is_known(unit: str, target: str) -> bool:
    """Whether `unit` can be turned into `target`."""
    try:
        _factor(normalise_unit(unit), target)
    except QuantityError:
        return False
    return True
