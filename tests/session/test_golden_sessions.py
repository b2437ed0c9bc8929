"""Sessions recorded once are decided the same today: every fact, in order, equal. Those of older rules still fold."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from assistant.session import fold, initial
from assistant.session.facts.session import VerdictReached
from assistant.session.rules import RULES_VERSION
from tests.session.golden import FOLDER, PLANS, SESSIONS, read_facts, replay

FILES = sorted(FOLDER.glob("*.jsonl"))
OLDER = sorted(path for v in range(1, RULES_VERSION) for path in (SESSIONS / f"v{v}").glob("*.jsonl"))


def _read(path: Path) -> tuple[str, list[dict[str, object]]]:
    head, *lines = [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]
    assert len(lines) > 100
    return head["plan"], lines


def test_there_are_golden_sessions_of_every_version():
    for version in range(1, RULES_VERSION + 1):
        assert len(list((SESSIONS / f"v{version}").glob("*.jsonl"))) >= 8, version


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_a_golden_session_is_decided_the_same(path: Path):
    plan, lines = _read(path)
    again = replay(PLANS[plan](), lines)
    for number, (old, new) in enumerate(zip(lines, again, strict=False), 2):
        assert old == new, f"{path.name}:{number}"
    assert len(lines) == len(again)


@pytest.mark.parametrize("path", OLDER, ids=lambda p: f"{p.parent.name}-{p.stem}")
def test_a_session_of_older_rules_still_leads_where_it_led(path: Path):
    plan, lines = _read(path)
    facts = read_facts(lines)
    end = fold(initial(PLANS[plan]()), facts)
    assert end.verdict == next((f.verdict for f in facts if isinstance(f, VerdictReached)), "")
    assert end.now_ms == facts[-1].at_ms
