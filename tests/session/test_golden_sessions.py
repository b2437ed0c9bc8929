"""Sessions recorded once are decided the same today: every fact, in order, equal."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.session.golden import FOLDER, PLANS, replay

FILES = sorted(FOLDER.glob("*.jsonl"))


def test_there_are_golden_sessions():
    assert len(FILES) >= 8


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_a_golden_session_is_decided_the_same(path: Path):
    head, *lines = [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]
    again = replay(PLANS[head["plan"]](), lines)
    assert len(lines) > 100
    for number, (old, new) in enumerate(zip(lines, again), 2):
        assert old == new, f"{path.name}:{number}"
    assert len(lines) == len(again)
