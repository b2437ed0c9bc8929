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
