"""The core against the naive model on random sessions: words, times, mishaps, crashes, hand-overs."""

from __future__ import annotations

from collections import Counter

import pytest

from tests.session.naive.compare import Pair, random_session
from tests.session.rich_plan import rich_plan

DEFAULT, FULL = 300, 5_000
PARTS = 4  # of the long run, so that several processes can share it


def _differences(pair: Pair, seed: int) -> str:
    found = pair.differences()
    if not found:
        return ""
    first = random_session(pair.core.plan, seed, every=True)
    said = "\n  ".join(first.script[-8:])
    return f"seed {seed} first differs after:\n  {said}\n  " + "\n  ".join(first.differences())


def _run(seeds: range) -> Counter:
    plan = rich_plan()
    seen: Counter = Counter()
    for seed in seeds:
        pair = random_session(plan, seed)
        odd = _differences(pair, seed)
        assert not odd, odd
        seen[pair.core.state.verdict or "open"] += 1
        for line in pair.script:
            seen[line.split()[1]] += 1
        for _, code, _ in pair.naive.deviations:
            seen[code] += 1
        seen["completed"] += len(pair.naive.completed)
    return seen


def test_both_models_come_to_the_same_completions_deviations_and_ends():
    seen = _run(range(DEFAULT))
    # The runs must have gone everywhere, or agreeing says nothing.
    for what in ("complete", "stopped", "left", "recover", "signs", "witness", "value", "correction",
                 "dried_contact", "dried_wetting", "limit_step_missed", "skipped", "mishap", "unwatched", "dries_repeatedly"):
        assert seen[what], f"no run had: {what}"
    assert seen["completed"] > DEFAULT


@pytest.mark.full
@pytest.mark.timeout(600)
@pytest.mark.parametrize("part", range(PARTS))
def test_both_models_agree_on_thousands_of_sessions(part: int):
    share = FULL // PARTS
    seen = _run(range(DEFAULT + part * share, DEFAULT + (part + 1) * share))
    for what in ("incomplete", "two_open", "patch_short", "limit_opening_missed", "value_refused"):
        assert seen[what], f"no run had: {what}"


def test_the_naive_model_shares_no_code_with_the_core():
    import ast
    from pathlib import Path

    folder = Path(__file__).parent / "naive"
    for name in ("model.py", "world.py", "lines.py"):
        for node in ast.walk(ast.parse((folder / name).read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module:
                allowed = node.module in ("__future__", "datetime", "decimal") or node.module.startswith(
                    "tests.session.naive")
                allowed |= node.module == "assistant.procedure.model" and [a.name for a in node.names] == ["plan"]
                assert allowed, f"{name} imports {node.module}"
            assert not isinstance(node, ast.Import), f"{name} imports {ast.unparse(node)}"
