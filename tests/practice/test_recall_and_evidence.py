"""At level recall the next step is asked for and scored; evidence is shown; a live run can demand practice."""

from __future__ import annotations

import json
import queue
import re
from datetime import date

import pytest
from click.testing import CliRunner

from assistant.account.reading import load_session
from assistant.account.rederiving import rederive
from assistant.errors import RecordError, RefusedError, SiteFileError
from assistant.hearing.values import parsing as values
from assistant.practice.evidence.score import RECALL, EnclosureLog, score
from assistant.practice.evidence.signoff import Session, Tracer, TraineeFile
from assistant.practice.operator.persona import load_persona
from assistant.practice.practice_cli import practice
from assistant.practice.session_run import Wanted, run_practice
from assistant.practice.trainee.levels import question
from assistant.practice.trainee.typed import TypedTrainee, as_said
from assistant.record.verify import verify
from assistant.record.writer import create_record
from assistant.session import decide, evolve, initial
from assistant.session.facts.practice import NextRecalled
from assistant.session.facts.session import VerdictReached
from assistant.session.facts.steps import StepStarted
from assistant.session.inputs import Begin, Recalled
from assistant.session.rules import RULES_VERSION
from assistant.session.wire import to_wire
from assistant.station.account.header import header
from assistant.station.live.run_cli import run
from assistant.station.live.setup import vocabulary
from assistant.station.live.signed_off import require_sign_off
from assistant.station.loop.site_copy import copy_site


@pytest.mark.parametrize(("typed", "number"), [("2", 2), ("two", 2), ("", 0), ("9", 0), ("the window", 0), ("²", 0)])
def test_an_answer_is_a_number_typed_or_in_words(plan, typed, number):
    lines = queue.Queue()
    for text in (typed, "no idea"):
        lines.put(text)
    assert question(plan, plan.steps[5], 1).answer(lines) == number


def test_wrong_answers_cost_points_and_name_their_moment(plan):
    choices = ("Open.", "Wipe.", "Close.")
    right, wrong = NextRecalled(1000, "a", choices, 2, 2), NextRecalled(2000, "b", choices, 3, 1)
    known, unknown = score(plan, [right], EnclosureLog()), score(plan, [right, wrong], EnclosureLog())
    assert known.total == 100 and unknown.total < 100
    part = next(p for p in unknown.parts if p.name == RECALL)
    assert part.measured == "1 in 2 questions" and part.moments[0].at_ms == 2000 and part.moments[0].about == "b"
    assert part.moments[0].text == "the next step wasn't known: Close."
    assert RECALL not in [p.name for p in score(plan, [], EnclosureLog()).parts]


def test_recall_by_keys_asks_before_each_step_and_keeps_the_answers(tmp_path):
    found = CliRunner().invoke(
        practice, ["gb-2-end-of-day", "--level", "recall", "--records", str(tmp_path / "r"), "--seed", "3", "--factor", "1",
                   "--evidence-folder", str(tmp_path / "e")], input="1\n" + "quit\n",
    )
    assert "What comes next?" in found.output and ("Right." in found.output or "No. It is" in found.output)
    assert found.output.index("What comes next?") < found.output.index("Right." if "Right." in found.output else "No. It is")
    told = next(tmp_path.glob("r/*/*/record.jsonl")).read_text()
    assert told.count('"kind":"next_recalled"') == 1 and '"chosen":1' in told


def test_what_was_said_is_shown_before_anybody_is_asked_what_comes_next(tmp_path):
    found = CliRunner().invoke(practice, [
        "gb-2-end-of-day", "--level", "recall", "--records", str(tmp_path / "r"), "--evidence-folder", str(tmp_path / "e"), "--factor", "1",
    ], input="9\nquit\n").output
    greeting, asked, answer = (found.index(text) for text in ("This is practice", "What comes next? Type its number.", "No. It is "))
    assert greeting < asked < answer
    choices = found[asked:answer].splitlines()[1:4]
    assert [line.split()[0] for line in choices] == ["1", "2", "3"] and not found[answer:].splitlines()[0].endswith("?.")


@pytest.mark.parametrize(("typed", "kind", "value"), [
    ("-65", "number", "-65"), ("0.5", "number", "0.5"), ("b417", "lot", "B417"), ("2027-03-31", "date", "2027-03-31"),
])
def test_a_value_may_be_typed_as_it_is_written(typed, kind, value):
    assert values.parse(kind, as_said(typed)).text == value
    for other in ("affirmative", "torn glove", "2027-02-30", "x"):
        assert as_said(other) == other


def test_who_practises_is_shown_what_is_to_be_read(ready, tmp_path):
    found = CliRunner().invoke(practice, [
        "gb-2-light-clean", "--typed", "--records", str(tmp_path / "r"), "--evidence-folder", str(tmp_path / "e"), "--factor", "1",
    ], input="quit\n")
    seen = re.search(r"You see: (-?\d+)\n", found.output)
    step = next(s for s in ready.plan.steps if s.kind == "reading")
    assert seen and float(step.low or "-inf") <= float(seen[1]) <= float(step.high or "inf")


def test_somebody_who_thinks_for_long_at_the_keys_is_waited_for(ready, tmp_path):
    lines, passed = queue.Queue(), []

    def pace(now_ms, next_ms):
        passed.append(next_ms)
        if len(passed) == 400:  # minutes after the first question, at which nothing else is due
            lines.put("stop")
        if len(passed) == 440:
            lines.put("affirmative")
        return next_ms

    done = run_practice(ready, Wanted("T", "led", 1, records=tmp_path), pacer=pace,
                        typed=lambda world, stage: TypedTrainee(world, lines, stage))
    assert done.verdict == "stopped" and len(passed) > 440


def test_answers_at_recall_are_facts_of_the_record_that_are_decided_and_scored_again_from_it(ready, tmp_path):
    answers = []

    def ask(_state, facts, _now):
        for fact in facts:
            if isinstance(fact, StepStarted) and not fact.step.startswith("bridge:"):
                asked = question(ready.plan, ready.plan.step(fact.step), 5)
                answers.append(Recalled(fact.step, asked.choices, asked.right, 1))

    done = run_practice(
        ready, Wanted("T", "recall", 5, records=tmp_path), persona=load_persona("careful"), on_facts=ask,
        also=lambda now: answers.pop(0) if answers else None,
    )
    opened = load_session(done.folder)
    kept = [f for f in opened.facts if isinstance(f, NextRecalled)]
    wrong = sum(f.chosen != f.right for f in kept)
    assert len(kept) > 10 and 0 < wrong < len(kept) and rederive(opened) == [] and not done.problems
    again = next(p for p in score(opened.plan, opened.facts, EnclosureLog()).parts if p.name == RECALL)
    assert len(again.moments) == wrong == len(next(p for p in done.score.parts if p.name == RECALL).moments)


def test_an_answer_at_recall_is_refused_in_every_other_session(plan):
    answer = Recalled("s", ("a", "b"), 1, 2)
    for kind in ("live", "demo", "script"):
        state = initial(plan)
        for fact in decide(plan, state, Begin("Ada", kind), 0):
            state = evolve(state, fact)
        assert decide(plan, state, answer, 1) == ()
        with pytest.raises(ValueError, match="belongs to practice"):
            evolve(state, NextRecalled(1, "s", ("a", "b"), 1, 2))


def test_a_live_record_forged_to_hold_such_an_answer_cannot_be_folded(ready, tmp_path):
    writer = create_record(
        tmp_path, header(
            ready.plan, technician="Ada", vocabulary=vocabulary(ready.pack), engine={"engine": "none"}, voice={"voice": "none"},
            sink={"sink": "none"}, source={"source": "keys"}, clock="monotonic", extra={"today": ready.plan.today},
        ), "live", enclosure="gb-2", stamp="20260314T091500Z", session_id="forged", rules=RULES_VERSION,
        wall="2026-03-14T09:15:00.000Z", owner="Ada",
    )
    copy_site(ready.loaded, writer.folder)
    begun = decide(ready.plan, initial(ready.plan), Begin("Ada", "live"), 0)
    facts = [*begun, NextRecalled(0, "s", ("a", "b"), 1, 2), VerdictReached(0, "complete")]
    writer.append([to_wire(f) for f in facts], 0, "2026-03-14T09:15:00.000Z")
    writer.seal(0, "2026-03-14T09:15:00.000Z", verdict="complete", left_open=[], state_sha256="0" * 64)
    writer.close()
    assert verify(writer.folder).intact  # the chain can't know better; the fold does
    with pytest.raises(RecordError, match="next_recalled"):
        load_session(writer.folder).state()


def evidence(folder, ready):
    """Rows whose records aren't there count for nothing; so the demands that need records stay open."""
    file = TraineeFile(folder / "kit")
    file.add(Session("gone", "0" * 64, "2026-02-02", "gb-2-light-clean", "assessment", "complete", 98.0, 0))
    file.add_tracer(Tracer("Observer", date.today().isoformat(), True))
    return file


def test_evidence_is_printed_and_rows_without_their_record_are_not(tmp_path, ready):
    evidence(tmp_path, ready)
    found = CliRunner().invoke(practice, ["--evidence", "Kit", "--evidence-folder", str(tmp_path), "--json"])
    data = json.loads(found.stdout)
    assert data["sessions"] == [] and data["tracers"][0]["observer"] == "Observer" and not data["ready"]
    shown = CliRunner().invoke(practice, ["--evidence", "Kit", "--evidence-folder", str(tmp_path)])
    assert "seen by Observer" in shown.output and "missing" in shown.output and "not ready yet" in shown.output


def test_a_live_run_refuses_whoever_has_not_practised(tmp_path, ready):
    evidence(tmp_path, ready)
    with pytest.raises(RefusedError, match="Missing: 3 assessments in a row"):
        require_sign_off("Kit", "gb-2-light-clean", "default", evidence=tmp_path, home=tmp_path / "home")
    rule = tmp_path / "rule.yaml"
    rule.write_text("id: x\ntitle: X\nassessments_in_a_row: none\n")
    with pytest.raises(SiteFileError, match="rule.yaml:3"):
        require_sign_off("Kit", "gb-2-light-clean", str(rule), evidence=tmp_path, home=tmp_path / "home")
    found = CliRunner().invoke(run, [
        "gb-2-light-clean", "--technician", "Kit", "--require-practice", "default", "--evidence-folder", str(tmp_path), "--keys",
        "--no-voice-in", "--records", str(tmp_path / "r")])
    assert isinstance(found.exception, RefusedError) and not (tmp_path / "r").exists()
