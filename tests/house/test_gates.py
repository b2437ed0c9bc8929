"""The gates before anything is merged: strict types, lint rules, and one format. `.ci/run` runs them with the other tests, and
`.ci/pre-commit.yaml` runs them alone."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
CACHE = Path(os.environ.get("PYTHONPYCACHEPREFIX") or tempfile.gettempdir()) / "types"
GATES = {
    "types": ["mypy", "--cache-dir", str(CACHE)],
    "lint": ["ruff", "check", "--no-cache", "assistant", "tests"],
}


@pytest.mark.parametrize("gate", sorted(GATES))
def test_the_house_passes_the_gate(gate: str) -> None:
    done = subprocess.run([sys.executable, "-m", *GATES[gate]], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, (done.stdout + done.stderr)[-6_000:]
