"""Lines and files per room, product apart from bench, training, support and tests; and what the tools find."""

from __future__ import annotations

import importlib.util
import re
import shutil
import subprocess
import sys
from collections import defaultdict
from pathlib import Path

ROOT = Path(__file__).resolve().parents[3]
_APART = ("bench", "training", "support")


def lines_and_files() -> dict[str, dict[str, int]]:
    """Place ("assistant/session", "bench", ...) -> files and lines of Python; "product" and "all" sum up."""
    found: dict[str, dict[str, int]] = defaultdict(lambda: {"files": 0, "lines": 0})
    for top in ("assistant", "tests"):
        for path in sorted((ROOT / top).rglob("*.py")):
            parts = path.relative_to(ROOT).parts
            if top == "assistant":
                places = ("product", f"assistant/{parts[1]}" if len(parts) > 2 else "assistant")
            else:
                places = (parts[1] if parts[1] in _APART else "tests",)
            count = len(path.read_bytes().splitlines())
            for place in (*places, "all"):
                found[place]["files"] += 1
                found[place]["lines"] += count
    return dict(found)


def type_errors() -> int | None:
    """Errors of a strict type check over the product; None where the tool isn't here."""
    return _counted("mypy", ["assistant"], r"Found (\d+) errors?", "Success")


def lint_findings() -> int | None:
    """Findings of the project's lint rules; None where the tool isn't here."""
    return _counted("ruff", ["check", "assistant", "tests"], r"Found (\d+) errors?", "All checks passed")


def _counted(tool: str, arguments: list[str], pattern: str, clean: str) -> int | None:
    if importlib.util.find_spec(tool) is not None:
        command = [sys.executable, "-m", tool]
    elif found := shutil.which(tool):
        command = [found, *(["--python-executable", sys.executable] if tool == "mypy" else [])]
    else:
        return None
    done = subprocess.run([*command, *arguments], cwd=ROOT, capture_output=True, text=True, check=False)
    counted = re.search(pattern, done.stdout)
    if counted:
        return int(counted[1])
    return 0 if clean in done.stdout else None
