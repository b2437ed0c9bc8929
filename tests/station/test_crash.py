"""Killed at random instants, started again, finished: nothing told is lost, nothing that needed watching counts.

The judges stand outside the code under test: the archive's own verifier, and rules over plain JSON lines.
"""

from __future__ import annotations

import random
import sys
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from assistant.account.reading import load_session
from assistant.account.rederiving import rederive
from assistant.procedure.loading.load import load_procedure
from assistant.station.loop.recovering import take_up
from assistant.station.loop.site_copy import copy_site
from tests.bench.record.kill import independent_verifier
from tests.bench.station.crash import crash_rounds
from tests.bench.station.crash_judge import judge_facts, lines_of, missing
from tests.bench.station.crash_session import PROCEDURE, plan_for, run_session

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(autouse=True)
def _at_the_top(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)


def _check(tmp_path: Path, kills: int, seed: int) -> None:
    tally = crash_rounds(tmp_path, kills, seed)
    assert tally.kills == kills
    assert (tally.lost, tally.violations) == (0, [])
    assert tally.recovered == tally.sessions
    assert tally.told > 20 * kills
    assert tally.in_a_row >= 2


def test_twenty_five_kills_lose_nothing_and_invent_nothing(tmp_path: Path) -> None:
    _check(tmp_path, 25, 3)


@pytest.mark.full
@pytest.mark.timeout(1800)
def test_two_hundred_kills_lose_nothing_and_invent_nothing(tmp_path: Path) -> None:
    _check(tmp_path, 200, 5)


_SABOTAGE = """
import tests.bench.station.crash_session as victim
from assistant.station.loop import keeper
{fault}
victim.main()
"""
_SPEAK_FIRST = """
plain = keeper.SessionKeeper.give
def give(self, given, now_ms):
    from assistant.session import decide
    facts = decide(self.plan, self.state, given, max(now_ms, self.state.now_ms))
    for act in self._act:
        act(facts, now_ms)
    import time
    time.sleep(0.02)
    acts, self._act = self._act, []
    try:
        return plain(self, given, now_ms)
    finally:
        self._act = acts
keeper.SessionKeeper.give = give
"""
def test_the_harness_notices_a_station_that_speaks_before_it_writes(tmp_path: Path) -> None:
    tally = crash_rounds(tmp_path, 6, 1, [sys.executable, "-c", _SABOTAGE.format(fault=_SPEAK_FIRST)])
    assert tally.lost > 0


def test_the_harness_notices_a_start_that_goes_on_as_if_somebody_had_watched(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
) -> None:
    from assistant.session import inputs
    from assistant.station.loop import recovering

    monkeypatch.setattr(recovering.TakenUp, "given", lambda self, begin, now_ms: inputs.Tick())
    tally = crash_rounds(tmp_path, 3, 2)
    assert any("as if somebody had watched" in text for text in tally.violations)


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory):
    loaded = load_procedure(PROCEDURE, ROOT / "procedures")
    told: list[str] = []
    folder = run_session(tmp_path_factory.mktemp("whole"), loaded, seed=1, calm=True, tell=told.append)
    return plan_for(loaded), (folder / "record.jsonl").read_bytes(), told


def test_an_honest_session_passes_the_judge(whole) -> None:
    plan, raw, told = whole
    assert judge_facts(plan, lines_of(raw)).problems == []
    assert missing(raw, told, independent_verifier().sha) == []
    assert len(told) > 200


@pytest.mark.parametrize(("change", "expected"), [
    (lambda lines: [x for x in lines if x["kind"] != "contact_started"], "completed, but didn't run"),
    (lambda lines: [x for x in lines if x["kind"] != "verdict_reached"], "not finished"),
    (lambda lines: [x for x in lines if x["kind"] != "step_confirmed"], "complete without"),
    (lambda lines: [{**x, "t_ms": x["t_ms"] - 60_000} if x["kind"] == "contact_completed" else x for x in lines],
     "too early"),
    (lambda lines: [{**x, "t_ms": 0} if x["kind"] == "cycle_completed" else x for x in lines], "time went back"),
])
def test_the_judge_notices_what_must_not_be(whole, change, expected: str) -> None:
    plan, raw, _ = whole
    assert any(expected in text for text in judge_facts(plan, change(lines_of(raw))).problems)


def test_the_judge_notices_a_line_that_was_told_and_is_not_there(whole) -> None:
    _, raw, told = whole
    torn = raw[: len(raw) // 2]
    assert missing(torn, told, independent_verifier().sha)


def test_a_record_taken_up_again_is_stamped_with_the_moment_of_that_and_not_of_its_last_line(
    whole, tmp_path: Path,
) -> None:
    plan, raw, _ = whole
    loaded, kept = load_procedure(PROCEDURE, ROOT / "procedures"), raw.splitlines(keepends=True)[:40]
    session = tmp_path / plan.enclosure / "20260105T090000Z-torn"
    session.mkdir(parents=True)
    (session / "record.jsonl").write_bytes(b"".join(kept))
    copy_site(loaded, session)
    last = lines_of(b"".join(kept))[-1]
    later = datetime.fromisoformat(last["wall"]) + timedelta(minutes=5)
    taken = take_up(session, loaded, wall=later.isoformat(timespec="milliseconds"), owner="Ada")
    taken.writer.close()
    assert (taken.unwatched_ms, taken.first_ms) == (300_000, last["t_ms"] + 300_000)
    told = lines_of((session / "record.jsonl").read_bytes())[-1]
    assert (told["kind"], told["t_ms"]) == ("record_recovered", last["t_ms"] + 300_000)


@pytest.mark.parametrize("part", range(3))
def test_a_write_torn_anywhere_is_gone_on_from_to_a_record_that_holds(whole, tmp_path: Path, part: int) -> None:
    """A power cut may leave the first lines of a decision, and half a line after them."""
    plan, raw, _ = whole
    _torn_at(raw, plan, tmp_path, random.Random(f"torn:{part}").sample(range(3, raw.count(b"\n") - 1), 3))


@pytest.mark.full
@pytest.mark.timeout(900)
@pytest.mark.parametrize("part", range(4))
def test_a_write_torn_after_any_line_is_gone_on_from(whole, tmp_path: Path, part: int) -> None:
    """Every line, dealt out to four parts that several processes can share."""
    plan, raw, _ = whole
    _torn_at(raw, plan, tmp_path, list(range(1 + part, raw.count(b"\n"), 4)))


def _torn_at(raw: bytes, plan, tmp_path: Path, cuts: list[int]) -> None:
    loaded, lines = load_procedure(PROCEDURE, ROOT / "procedures"), raw.splitlines(keepends=True)
    for cut in cuts:
        session = tmp_path / str(cut) / plan.enclosure / "20260105T090000Z-torn"
        session.mkdir(parents=True)
        (session / "record.jsonl").write_bytes(b"".join(lines[:cut]) + lines[cut][: len(lines[cut]) // 2])
        copy_site(loaded, session)
        assert run_session(tmp_path / str(cut), loaded, seed=cut, unwatched_ms=60_000, calm=True) == session
        after = (session / "record.jsonl").read_bytes()
        assert independent_verifier().check(after) == (0, "", True), cut
        judged = judge_facts(plan, lines_of(after))
        assert (judged.problems, judged.verdict) == ([], "complete"), cut
        assert rederive(load_session(session)) == [], cut
