"""Every kind of fact is told in words, by one table; whoever shows facts handles each kind or says why not."""

from __future__ import annotations

from pathlib import Path

import pytest

from assistant.account.fact_lines import fact_line
from assistant.account.reading import load_session
from assistant.account.telling import TELLINGS, heard_words, tell
from assistant.review.session.lane_builder import _HANDLERS, NOT_DRAWN, lanes
from assistant.review.session.opened import open_session
from assistant.review.session.said import said_rows
from assistant.session.facts import KINDS
from assistant.session.facts.lines import Heard, LineSpoken

RECORDS = sorted(p.parent for p in (Path(__file__).parents[1] / "golden" / "records").glob("*/record.jsonl"))


def test_every_kind_of_fact_has_a_telling() -> None:
    assert set(TELLINGS) == set(KINDS.values())


def test_the_time_line_draws_every_kind_or_says_why_not() -> None:
    assert set(_HANDLERS) | set(NOT_DRAWN) == set(KINDS.values())
    assert not set(_HANDLERS) & set(NOT_DRAWN)
    assert all(NOT_DRAWN.values())


@pytest.mark.parametrize("folder", RECORDS, ids=lambda path: path.name)
def test_every_fact_of_a_golden_record_is_told_with_and_without_its_plan(folder: Path) -> None:
    opened = load_session(folder)
    for fact in opened.facts:
        for plan in (opened.plan, None):
            told = tell(plan, fact)
            assert told.text.strip() and told.place and "_" not in told.text.split("  (")[0], (fact, told)


@pytest.mark.parametrize("folder", RECORDS, ids=lambda path: path.name)
def test_terminal_and_time_line_tell_a_fact_in_the_same_words(folder: Path) -> None:
    opened = open_session(folder)
    assert opened.plan
    plan = opened.plan
    at_line = dict(zip(opened.lines, opened.facts, strict=True))
    shown = 0
    for lane in lanes(opened.facts, plan, opened.end_ms, opened.lines):
        for item in (*lane.spans, *lane.marks):
            fact, line = at_line[item.line], fact_line(plan, at_line[item.line])
            if line and item.label != "being wetted":
                shown += 1
                assert item.label.casefold() in line.casefold(), (fact, item.label, line)
    assert shown > 10


@pytest.mark.parametrize("folder", RECORDS, ids=lambda path: path.name)
def test_what_was_said_is_shown_as_it_was_said(folder: Path) -> None:
    opened = open_session(folder)
    heard = [f for f in opened.facts if isinstance(f, Heard)]
    listed = [row.text for row in said_rows(opened) if not row.by_assistant]
    assert sorted(listed) == sorted(heard_words(opened.plan, f) for f in heard)
    for fact in heard:
        if fact.said and fact.word:
            assert heard_words(opened.plan, fact) == fact.said
    spoken = [f.text for f in opened.facts if isinstance(f, LineSpoken)]
    assert sorted(row.text for row in said_rows(opened) if row.by_assistant) == sorted(spoken)


def test_a_no_that_was_said_as_negative_is_shown_as_negative() -> None:
    said = Heard(5, "no", True, "", "voice", 1, 4, said="negative")
    assert heard_words(None, said) == "negative"
    assert tell(None, said).text.startswith("negative")
