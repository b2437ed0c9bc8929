"""What was answered at the start stands above everything else, on page, sign page and paper, as it stood in the end."""

from __future__ import annotations

from dataclasses import replace

from assistant.account.start_answers import StartAnswer, start_answers
from assistant.procedure.model.plan import Option
from assistant.session.facts.session import OptionAnswered, OptionTakenBack
from tests.session.small_plan import small_plan

PLAN = replace(small_plan(), options=(
    Option("differ", "Is the next drug another one?", True, False, "the next drug is the same, so nothing is decontaminated"),
    Option("alcohol", "Is a final alcohol wipe planned?", False),
    Option("never", "Was this ever asked?", False),
))


def test_each_answer_stands_with_its_question_and_with_what_it_drops() -> None:
    facts = (OptionAnswered(10, option="differ", value=False), OptionAnswered(20, option="alcohol", value=True))
    assert start_answers(PLAN, facts) == (
        StartAnswer("Is the next drug another one?", "no", "the next drug is the same, so nothing is decontaminated"),
        StartAnswer("Is a final alcohol wipe planned?", "yes"),
    )


def test_an_answer_that_was_corrected_stands_as_it_was_in_the_end() -> None:
    facts = (
        OptionAnswered(10, option="differ", value=False), OptionTakenBack(20, option="differ", value=False),
        OptionAnswered(30, option="differ", value=True),
    )
    assert start_answers(PLAN, facts) == (StartAnswer("Is the next drug another one?", "yes"),)
    assert start_answers(PLAN, facts[:2]) == ()
