"""Practice repeats byte for byte, leaves evidence, and can't pass for live work."""

from __future__ import annotations

import shutil
from datetime import UTC, date, datetime, timedelta

import pytest

from assistant.errors import RecordError, RefusedError, SiteFileError, UsageError
from assistant.practice.evidence.signoff import Tracer, TraineeFile, load_rule, readiness, record_digest
from assistant.practice.operator.persona import load_persona
from assistant.practice.session_run import Wanted, keep_evidence, run_practice
from assistant.practice.trainee.levels import ASSESSMENT, LED, PROMPTED, RECALL, check_compression, question
from assistant.practice.trainee.typed import TypedTrainee
from assistant.record.verify import verify
from assistant.review.deciding.signing import cannot_sign
from assistant.review.register.index import Index
from assistant.review.register.register import last_done
from assistant.review.session.opened import open_session
from assistant.station.loop.quiet_record import QuietRecord
from tests.bench.practice.command import mean_score
from tests.bench.practice.learner import learn


def practise(ready, folder, *, persona="careful", seed=11, level=LED, **more):
    person = load_persona(persona) if isinstance(persona, str) else persona
    return run_practice(ready, Wanted("Trainee", level, seed, records=folder, **more), persona=person)


@pytest.fixture(scope="module")
def done(ready, tmp_path_factory):
    return practise(ready, tmp_path_factory.mktemp("records"), mishaps=1, words=("dropped_item",))


def test_a_practice_session_is_recorded_scored_and_proved(done):
    assert done.verdict == "complete" and not done.problems and done.score.total > 90
    assert list(done.score.reactions_ms) == ["dropped_item"] and verify(done.folder).intact


def test_the_same_seed_ids_and_epoch_give_the_same_bytes(ready, tmp_path):
    fixed = {"stamp": "20260314T091500Z", "session_id": "0a1b2c3d", "epoch": datetime(2026, 3, 14, 9, 15, tzinfo=UTC)}
    one, two = (practise(ready, tmp_path / name, mishaps=1, **fixed) for name in ("a", "b"))
    assert (one.folder / "record.jsonl").read_bytes() == (two.folder / "record.jsonl").read_bytes()


def test_every_line_says_practice_and_nobody_can_sign_it(done):
    assert b'"record":"live"' not in (done.folder / "record.jsonl").read_bytes()
    assert record_digest(done.folder)
    assert "Only live records" in cannot_sign(open_session(done.folder).record)


def test_renamed_to_live_it_no_longer_verifies(done, tmp_path):
    copy = tmp_path / "gb-2" / done.folder.name
    shutil.copytree(done.folder, copy)
    text = (copy / "record.jsonl").read_text(encoding="utf-8")
    (copy / "record.jsonl").write_text(text.replace('"record":"practice"', '"record":"live"'), encoding="utf-8")
    assert not verify(copy, witness=False).intact
    assert record_digest(copy) == ""
    with pytest.raises(RecordError):
        open_session(copy)


def test_a_practice_line_spliced_into_another_record_is_found(done, ready, tmp_path):
    other = practise(ready, tmp_path, seed=12)
    lines = (other.folder / "record.jsonl").read_bytes().splitlines(keepends=True)
    lines[20] = (done.folder / "record.jsonl").read_bytes().splitlines(keepends=True)[20]
    (other.folder / "record.jsonl").write_bytes(b"".join(lines))
    assert not verify(other.folder, witness=False).intact


def test_the_register_counts_no_practice(done):
    index = Index(done.folder.parent.parent)
    try:
        index.refresh()
        assert last_done(index, "gb-2") == {}
    finally:
        index.engine.dispose()


def test_a_session_without_sound_can_never_be_live(ready, tmp_path):
    with pytest.raises(RefusedError):
        QuietRecord(ready, "live", "x", records=tmp_path)


def test_a_trainees_path_from_the_first_lesson_to_ready(ready, tmp_path):
    file, person = TraineeFile(tmp_path / "evidence"), load_persona("newcomer")
    rule, at = load_rule(), datetime(2026, 2, 2, 9, tzinfo=UTC)
    first = readiness("Trainee", rule, file.sessions(), file.tracers(), at.date())
    assert not first.ready
    levels = [LED, PROMPTED, RECALL] + [ASSESSMENT] * 14
    n = 0
    for n, level in enumerate(levels):
        critical = [w for w in rule.critical_mishaps if not any(w in s.mishaps_ok for s in file.sessions())]
        words = (critical[0],) if level == ASSESSMENT and critical else ()
        told = practise(ready, tmp_path / "records", persona=person, seed=f"path:{n}", level=level, mishaps=1, words=words)
        keep_evidence(file, told, ready.plan, at=at + timedelta(days=n), true_waits=n > 3)
        person = learn(person, told.score)
        if n == 6:
            file.add_tracer(Tracer("Observer", (at + timedelta(days=n)).date().isoformat(), True))
        found = readiness("Trainee", rule, file.sessions(), file.tracers(), (at + timedelta(days=n)).date())
        if found.ready:
            break
    assert found.ready, [(d.what, d.met) for d in found.demands]
    assert n >= 5
    assert mean_score(ready.plan, person, 4, "path") > mean_score(ready.plan, load_persona("newcomer"), 4, "path") + 5
    # the evidence is the records themselves: one gone, and the row is broken
    shutil.rmtree(file.sessions()[-1].record)
    assert not readiness("Trainee", rule, file.sessions()[:3], file.tracers(), at.date()).ready


def test_nobody_observes_their_own_wipe():
    rule = load_rule()
    own = readiness("Trainee", rule, [], [Tracer("trainee", "2026-02-02", True)], date(2026, 2, 3))
    assert not own.demands[-1].met


def test_a_confirmation_in_two_seconds_is_known_to_be_untrue(ready, tmp_path):
    typed = [(1000, "negative"), (12_000, "negative")]
    typed += [(at, "affirmative") for at in (26_000, 40_000, 58_000)]
    seen = []
    done = run_practice(
        ready, Wanted("T", LED, 1, records=tmp_path, answers={"drugs_differ": False}),
        typed=lambda world, stage: seen.append(world) or TypedTrainee(world, [*typed, (70_000, "stop"), (100_000, "affirmative")], stage),
    )
    assert done.verdict == "stopped" and seen[0] is done.world


def test_a_wait_can_be_compressed_only_as_far_as_it_can_still_be_announced(plan):
    check_compression(plan, 1.0)
    check_compression(plan, 10.0)
    with pytest.raises(UsageError) as caught:
        check_compression(plan, 500.0)
    assert ".yaml:" in caught.value.where
    for wrong in (0.0, float("nan"), float("inf")):
        with pytest.raises(UsageError):
            check_compression(plan, wrong)


def test_what_next_is_asked_with_the_right_answer_among_three(plan):
    step = plan.steps[12]
    asked = question(plan, step, 4)
    assert len(asked.choices) == 3 and asked.choices[asked.right - 1] == (step.brief or step.say)
    assert asked == question(plan, step, 4)


def test_a_broken_rule_is_named_with_its_line(tmp_path):
    path = tmp_path / "rule.yaml"
    path.write_text("id: x\ntitle: X\nassessments_in_a_row: 3\ncritical_mishaps: [earthquake]\n")
    with pytest.raises(SiteFileError) as caught:
        load_rule(path)
    assert caught.value.where.endswith("rule.yaml:4")
    path.write_text("id: x\ntitle: X\nassessments_in_a_row: many\n")
    with pytest.raises(SiteFileError) as caught:
        load_rule(path)
    assert caught.value.where.endswith("rule.yaml:3")
