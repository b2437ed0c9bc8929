"""`practice --mishap NAME[@STEP]`: it comes at the moment asked for, or is refused with the reason."""

from __future__ import annotations

import json
import random
from pathlib import Path

import pytest
from click.testing import CliRunner

from assistant.errors import UsageError
from assistant.language.vocabulary import MISHAPS
from assistant.practice.enclosure.drills import asked_for, draw, not_reached
from assistant.practice.evidence.score import EnclosureLog, MishapLog, score
from assistant.practice.practice_cli import practice
from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import load_procedure
from assistant.procedure.model.plan import Plan
from assistant.session.facts.lines import Heard


@pytest.fixture(scope="module")
def plan() -> Plan:
    return compile_plan(load_procedure("gb-2-light-clean"))


def test_every_mishap_of_the_procedure_can_be_asked_for_those_that_end_the_run_among_them(plan: Plan) -> None:
    words = [m.word for m in plan.mishaps.values() if m.word]
    assert set(words) == set(MISHAPS)
    for word in words:
        assert [d.word for d in draw(plan, 1, words=(word,))] == [word]
        assert draw(plan, 1, words=(word.replace("_", "-"),)) == draw(plan, 1, words=(word,))


def test_each_that_is_asked_for_comes_once_and_what_ends_the_run_last(plan: Plan) -> None:
    assert [d.word for d in draw(plan, 1, words=("splash", "torn_glove", "spill"))] == ["torn_glove", "spill", "splash"]


def test_a_step_can_be_named(plan: Plan) -> None:
    step = next(s for s in plan.steps if s.kind == "wet")
    (drill,) = draw(plan, 1, words=(f"torn_glove@{step.id}",))
    assert drill.surface == step.surface and drill.at_line.partition("|")[0] in step.say


@pytest.mark.parametrize(("name", "why"), [
    ("lightning", "it has no branch for it"), ("torn_glove@nowhere", "has no step nowhere"),
])
def test_what_cant_come_is_refused_with_the_reason(plan: Plan, name: str, why: str) -> None:
    with pytest.raises(UsageError, match=why):
        asked_for(plan, (name,), random.Random(1))


def test_a_drill_whose_moment_never_came_is_told(plan: Plan) -> None:
    drills = draw(plan, 1, words=("torn_glove", "spill"))
    (why,) = not_reached(drills, [(5_000, "torn_glove")])
    assert why.startswith("spill didn't come")


def test_the_mishaps_of_a_procedure_are_listed_with_what_they_endanger(tmp_path: Path) -> None:
    done = CliRunner().invoke(practice, ["gb-2-light-clean", "--list-mishaps", "--json", "--evidence-folder", str(tmp_path)])
    listed = {m["name"]: m for m in json.loads(done.output)["mishaps"]}
    assert set(listed) == set(MISHAPS) and listed["splash"]["urgency"] == "person" and listed["fire"]["ends_the_run"]


@pytest.mark.parametrize(("first", "off"), [("torn_glove", 0), ("stop", 0), ("where", 0), ("confirm", 1)])
def test_what_was_done_first_counts(plan: Plan, first: str, off: int) -> None:
    def heard(at: int, word: str) -> Heard:
        return Heard(at, word, True, "", "voice", at - 500, at, word, "", 900, (), "", "Ada")

    log = EnclosureLog(mishaps=[MishapLog("torn_glove", 10_000)])
    scored = score(plan, [heard(12_000, first), heard(13_000, "torn_glove")], log)
    part = next(part for part in scored.parts if part.name == "mishaps")
    assert len(part.moments) == off
