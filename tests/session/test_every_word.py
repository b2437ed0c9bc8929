"""Every word in every mode: answered or refused with the reason and what counts now; never a crash, never silence."""

from __future__ import annotations

import pytest

from assistant.language import vocabulary as w
from assistant.session import allowed_words, decide, fold, inputs
from assistant.session.facts import lines, steps
from assistant.session.state import FINAL_MODES
from tests.session.invariants import same
from tests.session.reach import REACH

OPEN = [mode for mode in REACH if mode not in FINAL_MODES]
ASKING = (*w.QUESTIONS, w.KEYS)
# What a question or a refusal may change: what was said and heard, and the clock.
TALK = {"lines", "open_lines", "last_text", "now_ms", "misheard", "quiet_ms"}


@pytest.mark.parametrize("mode", REACH)
def test_every_word_is_heard_and_answered_aloud(mode: str):
    walk = REACH[mode]()
    walk.after(500)
    start, log = walk.state, list(walk.facts)
    seen = 0
    for word in sorted(w.ALL):
        facts = decide(walk.plan, start, inputs.Word(word), walk.now)
        after = fold(start, facts)
        heard = facts[0]
        assert isinstance(heard, lines.Heard) and heard.word == word
        spoken = [f for f in facts if isinstance(f, lines.LineSpoken)]
        silent = word == w.STARTED and heard.accepted  # the stroke is noted; the work itself goes on
        assert spoken or silent, f"{word} in {mode} has no answer"
        if not heard.accepted:
            assert any(isinstance(f, lines.NotNow) for f in facts), word
            assert set(same(start, after)) <= TALK, f"the refusal of {word} in {mode} changed {same(start, after)}"
        assert walk.state is start and walk.facts == log
        seen += 1
    assert seen == len(w.ALL)


@pytest.mark.parametrize("mode", OPEN)
def test_a_question_changes_nothing_but_what_was_said(mode: str):
    walk = REACH[mode]()
    walk.after(500)
    for word in ASKING:
        after = fold(walk.state, decide(walk.plan, walk.state, inputs.Word(word), walk.now))
        assert set(same(walk.state, after)) <= TALK, word
    for word in w.MANNERS:
        after = fold(walk.state, decide(walk.plan, walk.state, inputs.Word(word), walk.now))
        assert set(same(walk.state, after)) <= {*TALK, "brief"}, word


@pytest.mark.parametrize("mode", REACH)
def test_the_words_that_count_are_accepted_and_the_others_refused(mode: str):
    walk = REACH[mode]()
    walk.after(500)
    allowed = allowed_words(walk.plan, walk.state)
    unplanned = set(w.MISHAPS) - {m.word for m in walk.plan.mishaps.values()}
    for word in w.ALL:
        heard = decide(walk.plan, walk.state, inputs.Word(word), walk.now)[0]
        expected = word in allowed or (word in unplanned and mode not in FINAL_MODES)
        assert heard.accepted is expected, word


@pytest.mark.parametrize("mode", OPEN)
def test_help_and_refusals_name_what_counts(mode: str):
    walk = REACH[mode]()
    walk.after(500)
    told = decide(walk.plan, walk.state, inputs.Word(w.HELP), walk.now)[-1].text
    assert " stop" in told or mode == "stopping"
    refused = next(x for x in sorted(w.ALL) if x not in allowed_words(walk.plan, walk.state) and x not in w.MISHAPS)
    text = decide(walk.plan, walk.state, inputs.Word(refused), walk.now)[-1].text
    assert text.startswith("Not now.") and "You can say:" in text


def test_nothing_but_a_confirming_word_ever_confirms():
    confirming = (steps.StepConfirmed, steps.StepSkipped)
    seen = 0
    for mode in OPEN:
        walk = REACH[mode]()
        walk.after(60)
        others = [inputs.Word(x) for x in w.ALL - {w.CONFIRM}] + [
            inputs.Misheard("noise"), inputs.Misheard("unsure", w.CONFIRM), inputs.Tick(), inputs.Value("1"),
            inputs.Lost("microphone"), inputs.Gap(100, "drop"), inputs.ClockStep(9_000),
        ]
        for given in others:
            facts = decide(walk.plan, walk.state, given, walk.now)
            on_no = mode == "step" and isinstance(given, inputs.Word) and given.word == w.NO
            assert on_no or not [f for f in facts if isinstance(f, confirming)], (mode, given)
            seen += 1
    assert seen > 400


@pytest.mark.parametrize("mode", OPEN)
def test_after_an_interruption_it_returns_exactly(mode: str):
    for word, back in ((w.PAUSE, w.RESUME), (w.TROUBLE, w.CANCEL), ("power_cut", w.COMPUTER), (w.STOP, w.CANCEL)):
        walk = REACH[mode]()
        walk.after(10)
        if word not in allowed_words(walk.plan, walk.state) or mode in ("trouble", "which"):
            continue
        before = walk.state
        walk.give(inputs.Word(word))
        assert walk.mode != before.mode
        walk.after(10).give(inputs.Word(back))
        odd = set(same(before, walk.state)) - TALK - {"entered_ms", "before_rewet_ms"}
        assert not odd, (word, odd)
        if before.contacts:
            assert "Wet now" in walk.facts[-1].text or "again now" in walk.facts[-1].text


@pytest.mark.parametrize("mode", REACH)
def test_every_other_input_is_answered_or_ignored_without_harm(mode: str):
    walk = REACH[mode]()
    walk.after(10)
    for given in (
        inputs.Witness("Ben", "seen"), inputs.Witness("ada ", "seen"), inputs.Witness("Ben", " "),
        inputs.SignIn("Cy"), inputs.SignIn(" "), inputs.Lost("speaker"), inputs.Back("speaker"),
        inputs.Recover(5_000, "suspend"), inputs.LineDone(9_999, 0, 0), inputs.Begin("Bo"), inputs.Value("12"),
        inputs.Value(""), inputs.Value("x" * 500), inputs.Misheard("noise"), inputs.Tick(),
    ):
        fold(walk.state, decide(walk.plan, walk.state, given, walk.now))


def test_an_unknown_command_and_an_unknown_input_are_errors_that_name_it():
    walk = REACH["step"]()
    with pytest.raises(ValueError, match="unknown command 'wett'"):
        decide(walk.plan, walk.state, inputs.Word("wett"), walk.now)
    with pytest.raises(TypeError, match="not an input"):
        decide(walk.plan, walk.state, "confirm", walk.now)
