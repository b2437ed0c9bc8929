"""One JSON object on standard output, everything else on standard error."""

from __future__ import annotations

import json
import sys
from typing import Any


def print_json(found: dict[str, Any]) -> None:
    """Print `found` as the one object of this command."""
    json.dump(found, sys.stdout, ensure_ascii=False, sort_keys=True)
    sys.stdout.write("\n")
    sys.stdout.flush()


def print_figures(found: dict[str, Any], as_json: bool, width: int = 18) -> None:
    """A measurement's figures: as one object, or a line each with the names `width` wide."""
    if as_json:
        print_json(found)
        return
    for name, value in found.items():
        sys.stdout.write(f"  {name:<{width}} {value}\n")
