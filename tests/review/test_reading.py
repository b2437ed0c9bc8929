"""What the pages say of a session follows from its facts and from the one core: state, spans, steps,
findings."""

from __future__ import annotations

import itertools

import pytest

from assistant.account.steps import step_rows
from assistant.account.times import span_words
from assistant.review.deciding.decisions import Signed
from assistant.review.register.index import Row
from assistant.review.serving.desk import Desk
from assistant.review.session.answer import CLEAR, DONE, LOOK, NEVER, REFUSED, STOP, answer
from assistant.review.session.compare import compare
from assistant.review.session.digest import Digest, Finding, digest
from assistant.review.session.lane_builder import lanes
from assistant.review.session.lanes import CLEAN, CONTACT, DRIED, thinned
from assistant.review.session.opened import _SNAPSHOT_EVERY
from assistant.review.session.times import Clock, clock_words, parse_wall
from assistant.session import evolve, initial
from assistant.session.facts import contacts, steps, troubles
from tests.bench.review.generator import demo_site
from tests.bench.review.operator import Manner, Operator
from tests.review.conftest import rows


def play(seed: int, manner: Manner | None = None) -> list:
    """Facts of one seeded session."""
    facts: list = []
    Operator(demo_site().plan, seed, manner or Manner(), lambda found, _: facts.extend(found)).run(4 * 3600_000)
    return facts


def test_the_state_at_an_instant_is_the_cores_own_fold(shared_desk: Desk) -> None:
    """Snapshots may only make it quicker: asked in any order, it is the plain fold up to that moment."""
    opened = shared_desk.sessions.open(
        shared_desk.setup.records / max(rows(shared_desk), key=lambda r: r.facts).session
    )
    assert len(opened.facts) > _SNAPSHOT_EVERY
    state, plain = initial(opened.plan), {0: initial(opened.plan)}
    for number, fact in enumerate(opened.facts, 1):
        state = evolve(state, fact)
        plain[number] = state
    last = opened.facts[-1].at_ms
    for at_ms in (last, 0, last // 2, last // 3, last // 2 + 1, last * 2, 60_000):
        assert opened.state_at(at_ms) == plain[opened.count_at(at_ms)]


def test_every_contact_is_one_span_of_its_surface() -> None:
    facts = play(21, Manner(late_rewet=0.9))
    plan = demo_site().plan
    found = {lane.id: lane for lane in lanes(facts, plan, facts[-1].at_ms)}
    for surface in {f.surface for f in facts if isinstance(f, contacts.ContactStarted)}:
        spans = found[f"surface:{surface}"].spans
        started = [f for f in facts if isinstance(f, contacts.ContactStarted) and f.surface == surface]
        completed = [f for f in facts if isinstance(f, contacts.ContactCompleted) and f.surface == surface]
        assert [s.start_ms for s in spans if s.kind == CONTACT] == [f.wet_since_ms for f in started]
        assert [s.start_ms for s in spans if s.kind == CLEAN] == [f.due_ms for f in completed]
        for before, after in itertools.pairwise(spans):
            assert before.end_ms <= after.start_ms or before.end_ms == after.start_ms
        assert all(s.start_ms <= s.end_ms for s in spans)


def test_a_missed_rewet_is_seen_as_dried_and_as_a_finding() -> None:
    for seed in range(40):
        facts = play(seed, Manner(late_rewet=1.0))
        dried = [f for f in facts if isinstance(f, contacts.SurfaceDried) and f.phase == "contact"]
        if dried:
            break
    else:
        pytest.fail("no surface ever dried")
    found = {lane.id: lane for lane in lanes(facts, demo_site().plan, facts[-1].at_ms)}
    assert any(s.kind == DRIED for s in found[f"surface:{dried[0].surface}"].spans)
    summary = digest(facts, demo_site().plan)
    assert any(f.kind == "deviation" and f.about == dried[0].surface for f in summary.findings)
    assert summary.weight >= 12 and summary.deviations == sum(
        isinstance(f, troubles.Deviation) for f in facts
    )


@pytest.mark.parametrize("seed", range(6))
def test_the_step_list_holds_every_confirmation_once(seed: int) -> None:
    facts = play(seed)
    confirmed = [f for f in facts if isinstance(f, steps.StepConfirmed)]
    table = step_rows(facts, demo_site().plan)
    done = [
        r
        for r in table
        if r.outcome in ("done", "redone", "taken back", "undone") and r.kind != "wait" and r.took_ms >= 0
    ]
    assert len(done) >= len({f.step for f in confirmed if not f.step.startswith("bridge:")}) > 10
    assert [r.at_ms for r in table] == sorted(r.at_ms for r in table)


def test_corrections_in_one_step_are_counted_together() -> None:
    made = [steps.CorrectionMade(t, "before.certified", "correction") for t in (5, 6, 7)]
    summary = digest(made, demo_site().plan)
    assert any(f.text.startswith("3 corrections in one step") for f in summary.findings)
    unwatched = digest([troubles.Recovered(9, "crash", 14 * 60_000, ())], None)
    assert unwatched.findings[-1].text == "14 min with nobody watching (crash)."


CASES = [
    (Digest(verdict="complete"), {}, CLEAR),
    (Digest(verdict="complete", findings=[Finding("deviation", "x", 1, 12)]), {}, LOOK),
    (Digest(verdict="incomplete"), {}, STOP),
    (Digest(verdict="complete"), {"kind": "practice"}, NEVER),
    (Digest(verdict="complete"), {"state": "broken"}, STOP),
    (Digest(verdict="complete"), {"state": "live"}, NEVER),
    (Digest(), {"state": "open"}, STOP),
    (Digest(verdict="complete"), {"problem": "x"}, STOP),
    (Digest(verdict="complete"), {"decision": "accepted"}, DONE),
    (Digest(verdict="complete"), {"decision": "not_accepted"}, REFUSED),
]


@pytest.mark.parametrize(("summary", "more", "level"), CASES)
def test_the_answer_comes_first_and_is_never_rosier_than_the_record(
    summary: Digest, more: dict, level: str
) -> None:
    told = {"kind": "live", "state": "sealed", "problem": "", "decision": None, **more}
    if told["decision"]:
        told["decision"] = Signed(
            9, "record_signed", "R. Vane", "k", "m", "", told["decision"], "r", "", "", 0, 0, "", "", ""
        )
    assert answer(summary, **told).level == level


def test_drifts_are_named_only_where_they_are_large() -> None:
    plan = demo_site().plan
    back, left = "disinfect.back_wall", "disinfect.left_wall"

    def row(times: dict[str, int]) -> Row:
        import json

        return Row(session="x", size=0, mtime_ns=0, state="sealed", step_ms=json.dumps(times))

    before = [row({back: 95_000 + n * 1000, left: 30_000}) for n in range(5)]
    found = {h.step: h for h in compare(row({back: 40_000, left: 33_000}), before, plan)}
    assert found[back].drift == "back wall, disinfectant: 40 s, usually 97 s" and found[left].drift == ""
    assert compare(row({back: 40_000}), before[:2], plan)[0].drift == ""  # too few to call anything usual


def test_hair_thin_spans_are_drawn_as_one_and_long_ones_stay() -> None:
    from assistant.review.session.lanes import Span

    many = [Span("spoken", t, t + 5, "x") for t in range(0, 10_000, 10)] + [
        Span("spoken", 20_000_000, 26_000_000, "y")
    ]
    found = thinned(many, 30_000_000)
    assert len(found) < 12 and found[-1].label == "y"
    assert thinned(many[:3], 1_000) == many[:3]


@pytest.mark.parametrize(
    ("ms", "words"),
    [(0, "0 s"), (59_499, "59 s"), (61_000, "1 min 1 s"), (840_000, "14 min"), (8_100_000, "2 h 15 min")],
)
def test_lengths_in_words(ms: int, words: str) -> None:
    assert span_words(ms) == words


def test_times() -> None:
    assert clock_words(3_723_999) == "1:02:03" and clock_words(59_000) == "0:59"
    assert parse_wall("2026-03-02T07:40:60+01:00").second == 59  # RFC 3339 section 5.6 allows a leap second
    assert Clock().full("2026-03-02T07:40:00-05:00") == "Mon 2 Mar 2026, 07:40:00 (\u221205:00)"
    assert Clock().full("soon") == "time unknown"
