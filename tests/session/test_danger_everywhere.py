"""The figures of `assistant measure danger` on two shipped procedures, and that they tell a faulty core."""

from __future__ import annotations

from dataclasses import replace

import pytest

from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import load_procedure
from assistant.session import lookup
from assistant.session.timing import due, timers
from tests.bench.session.danger import Figures, measure


def _figures(name: str) -> Figures:
    found = Figures()
    measure(replace(compile_plan(load_procedure(name)), today="2026-01-05"), found)
    return found


@pytest.mark.parametrize("name", ["gb-2-end-of-day", "pi-1-under-work-surface"])
def test_at_every_step_a_mishap_of_danger_is_dealt_with_before_anything_else(name: str) -> None:
    found = _figures(name)
    assert found.cases > 100 and found.faults == []
    assert found.first_line_own == found.cases and found.lower_urgency_asked_before_end == 0
    assert found.dried_owed == found.dried
    # Whoever is hurt is helped by somebody else: within two lines; common practice, no source.
    assert set(found.help_called_within_lines) == {"splash", "unwell", "fire"}
    assert max(found.help_called_within_lines.values()) <= 2


def test_a_core_that_asks_for_re_wets_in_danger_is_told_by_the_figures(monkeypatch: pytest.MonkeyPatch) -> None:
    for module in (lookup, timers, due):
        monkeypatch.setattr(module, "interrupted", lambda *a: False)
    found = _figures("gb-2-end-of-day")
    assert found.lower_urgency_asked_before_end > 0 and found.dried_owed < max(1, found.dried)
