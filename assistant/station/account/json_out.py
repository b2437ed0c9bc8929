"""One JSON object on standard output, everything else on standard error."""

from __future__ import annotations

import sys
from typing import Any

from assistant.record.commands.shared import print_json

__all__ = ["print_figures", "print_json"]


def print_figures(found: dict[str, Any], as_json: bool, width: int = 18) -> None:
    """A measurement's figures: as one object, or a line each with the names `width` wide."""
    if as_json:
        print_json(found)
        return
    for name, value in found.items():
        sys.stdout.write(f"  {name:<{width}} {value}\n")
