"""`measure speech` gives its figures, with a baseline from the same run, as one object."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from tests.bench.speaking import command as measure


def test_the_command_prints_one_object_with_baseline_and_what_was_skipped(monkeypatch):
    monkeypatch.setattr(measure, "INTERRUPT_TRIALS", 10)
    done = CliRunner().invoke(measure.command, ["--json", "--rounds", "1"], catch_exceptions=False)
    assert done.exit_code == 0
    result = json.loads(done.stdout)
    for key in ("line_ready_ms", "disk_ready_ms", "baseline_uncached_ms", "interrupt_ms"):
        assert result[key]["n"] > 0 and 0 <= result[key]["p50"] <= result[key]["p95"]
    assert result["interrupt_ms"]["p95"] <= 50  # media time: counted in samples, not on a clock
    assert result["skipped"]


@pytest.mark.parametrize("values", [[1.0], [3.0, 1.0, 2.0], list(range(100))])
def test_spread_lies_within_its_values(values):
    spread = measure._spread(values)
    assert min(values) <= spread["p50"] <= spread["p95"] <= max(values)
