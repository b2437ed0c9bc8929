"""The score is explained from the record; refreshing follows the published algorithm."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta

import pytest
from fsrs import Scheduler

from assistant.errors import SiteFileError
from assistant.practice.enclosure.drills import draw
from assistant.practice.evidence.refresh import Refresh
from assistant.practice.evidence.score import WEIGHTS, EnclosureLog, MishapLog, Moment, score
from assistant.practice.oracle.moments import untrue_text
from assistant.session.facts import lines, steps
from tests.bench.practice.command import held_out, mean_score, spearman

DAY = datetime(2026, 3, 2, 9, tzinfo=UTC)


def test_every_point_off_has_its_moment_and_the_three_worst_come_first(plan):
    facts = [
        steps.StepConfirmed(1000, "disinfect.back_wall", "", "single", 900, 800, "t", "voice"),
        lines.NotNow(2000, "resume", "step"),
        lines.Heard(3000, "", False, "not a command", "voice", 2500, 2900, "hello"),
    ]
    log = EnclosureLog([Moment(1000, "disinfect.back_wall", "it wasn't wet")], [], [], [MishapLog("torn_glove", 1500)])
    found = score(plan, facts, log)
    for part in found.parts:
        assert part.points_off == round(WEIGHTS[part.name] * len(part.moments), 1)
    assert found.total == 100 - sum(p.points_off for p in found.parts)
    assert [m.at_ms for m in found.better] == [1000, 1500, 2000] and len(found.critical) == 2


def test_reaction_is_timed_from_the_mishap_to_its_name(plan):
    heard = lines.Heard(9000, "torn_glove", True, "", "voice", 8000, 8800)
    found = score(plan, [heard], EnclosureLog(mishaps=[MishapLog("torn_glove", 5000)]))
    assert found.reactions_ms == {"torn_glove": 4000} and not found.critical


def test_a_worse_person_scores_worse(plan):
    assert mean_score(plan, held_out(0), 8, "t") > mean_score(plan, held_out(11), 8, "t") + 5


def test_spearman_agrees_with_the_textbook():
    # Spearman's rho without ties is 1 - 6 sum d^2 / (n (n^2 - 1)); d = 1, 1, 0, 0, 0 here
    assert spearman([1, 2, 3, 4, 5], [2, 1, 3, 4, 5]) == pytest.approx(1 - 6 * 2 / (5 * 24))
    with pytest.raises(ValueError):
        spearman([1, 1], [2, 3])


def test_drills_repeat_and_follow_the_weights(plan):
    assert draw(plan, 5, 3) == draw(plan, 5, 3) != draw(plan, 6, 3)
    heavy = [d.word for i in range(60) for d in draw(plan, i, 1, weights={"torn_glove": 60.0})]
    assert heavy.count("torn_glove") > 30
    assert {d.word for d in draw(plan, 1, 4, words=("spill",))} == {"spill"}


def test_a_first_review_follows_the_published_formulas():
    # FSRS-6, github.com/open-spaced-repetition/fsrs4anki/wiki/The-Algorithm: S0(G) = w[G-1];
    # D0(G) = w4 - exp(w5 (G - 1)) + 1; R(t, S) = (1 + F t / S)^-w20 with F = 0.9^(-1 / w20) - 1.
    w = Scheduler().parameters
    for how, grade in (("again", 1), ("hard", 2), ("good", 3)):
        cards = Refresh()
        cards.review("mishap:spill", how, DAY)
        card = cards.cards["mishap:spill"]
        assert card.stability == pytest.approx(w[grade - 1])
        assert card.difficulty == pytest.approx(min(10, max(1, w[4] - math.exp(w[5] * (grade - 1)) + 1)))
        factor = 0.9 ** (-1 / w[20]) - 1
        later = DAY + timedelta(days=7)
        assert cards.recall("mishap:spill", later) == pytest.approx((1 + factor * 7 / card.stability) ** -w[20])


def test_a_later_success_follows_the_published_formulas():
    # ibid.: S' = S (1 + exp(w8) (11 - D) S^-w9 (exp(w10 (1 - R)) - 1)) for "good" after more than a day
    w, cards = Scheduler().parameters, Refresh()
    for day in range(2):
        cards.review("step:x", "good", DAY + timedelta(minutes=20 * day))
    before = cards.cards["step:x"]
    at = DAY + timedelta(days=5)
    recall = cards.recall("step:x", at)
    cards.review("step:x", "good", at)
    wanted = before.stability * (
        1 + math.exp(w[8]) * (11 - before.difficulty) * before.stability ** -w[9] * (math.exp(w[10] * (1 - recall)) - 1)
    )
    assert cards.cards["step:x"].stability == pytest.approx(wanted)


def test_what_went_wrong_is_drawn_more_often_and_the_file_survives(tmp_path):
    cards = Refresh()
    cards.review("mishap:spill", "again", DAY)
    cards.review("mishap:fire", "good", DAY)
    cards.save(tmp_path / "refresh.json")
    again = Refresh.load(tmp_path / "refresh.json")
    assert again.to_json() == cards.to_json()
    assert again.weights(DAY)["spill"] > again.weights(DAY)["fire"]
    (tmp_path / "refresh.json").write_text("{}")
    with pytest.raises(SiteFileError):
        Refresh.load(tmp_path / "refresh.json")


def test_what_to_do_better_is_told_without_the_names_in_the_files(plan):
    known = {**{s.id: s for s in plan.steps}, **plan.surfaces}
    step = next(s for s in plan.steps if s.kind == "wet")
    texts = [untrue_text(plan, f"{step.id} was believed done"), untrue_text(plan, "back_wall was believed wet again"),
             untrue_text(plan, "back_wall was wet for 41250 ms only"), untrue_text(plan, "bridge:open:inner_door was believed done")]
    assert texts[0] == f"confirmed, though it wasn't done: {step.brief or step.say}"
    assert texts[2] == f"the {plan.surfaces['back_wall'].name} stayed wet for 41 s only" and "inner door" in texts[3]
    assert not [text for text in texts for name in known if "_" in name and name in text]
    left_out = score(plan, [steps.StepConfirmed(1, step.id, "", "single", 1, 1, "t", "voice")], EnclosureLog(
        [Moment(1, step.id, texts[0])])).better
    assert left_out[0].about == step.id  # what is due to be refreshed still goes by the step
