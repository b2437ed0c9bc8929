"""How long batteries last, where the system tells (Linux: /sys/class/power_supply; elsewhere nothing is known)."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

FOLDER = Path("/sys/class/power_supply")
LEAST_PERCENT = 30  # of a headset's, which tells no time: common practice, no source


@dataclass(frozen=True, slots=True)
class Batteries:
    """`left_s`: until the first of the computer's own that is being used is empty, None where nothing is told.
    `low`: devices (a wireless headset) with little left, in words."""

    left_s: float | None = None
    low: tuple[str, ...] = ()


def batteries(folder: Path = FOLDER) -> Batteries:
    """What the system tells now. Never raises: an odd entry is left out."""
    left: list[float] = []
    low: list[str] = []
    try:
        entries = sorted(folder.iterdir())
    except OSError:
        return Batteries()
    for entry in entries:
        if _text(entry / "type").lower() != "battery":
            continue
        percent = _number(entry / "capacity")
        if _text(entry / "scope").lower() == "device":
            if percent is not None and percent < LEAST_PERCENT:
                low.append(f"{_text(entry / 'model_name') or entry.name}: {percent:.0f} % of its battery left.")
        elif _text(entry / "status").lower() == "discharging":
            seconds = _seconds(entry)
            if seconds is not None:
                left.append(seconds)
    return Batteries(min(left, default=None), tuple(low))


def _seconds(entry: Path) -> float | None:
    told = _number(entry / "time_to_empty_now")
    if told is not None:
        return told
    for held, drawn in (("energy_now", "power_now"), ("charge_now", "current_now")):
        have, use = _number(entry / held), _number(entry / drawn)
        if have is not None and use:
            return 3600 * have / abs(use)
    return None


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8", errors="replace").strip()
    except OSError:
        return ""


def _number(path: Path) -> float | None:
    try:
        return float(_text(path))
    except ValueError:
        return None
