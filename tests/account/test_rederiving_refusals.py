"""A witness's statement that was refused is decided again like any other input, in whatever mode it came."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from assistant.account.rederiving import _candidates
from assistant.session import decide, inputs
from tests.session.rich_plan import rich_plan
from tests.session.walk import Walk


@pytest.mark.parametrize(("mode", "person", "statement"), [
    ("step", "Ben", "I saw it."), ("witness", "Ada", "I saw it."), ("witness", "", "I saw it."), ("witness", "Ben", " "),
])
def test_a_refused_statement_is_found_again_in_its_facts(mode: str, person: str, statement: str) -> None:
    walk = Walk(rich_plan())
    for _ in range(400):
        if walk.mode == mode:
            break
        walk.cooperate()
    assert walk.mode == mode
    facts = decide(walk.plan, walk.state, inputs.Witness(person, statement), walk.now)
    again = [decide(walk.plan, walk.state, given, walk.now) for given in _candidates(facts, 0, SimpleNamespace())]
    assert facts and facts in again
