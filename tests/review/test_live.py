"""The board follows a record that is being written; the witness's statement reaches the session's inbox."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from assistant.review.deciding.inbox import read_statements
from assistant.review.deciding.site_rule import load_rules
from assistant.review.serving.desk import Desk
from assistant.review.serving.live import Follower
from assistant.session.facts import steps
from assistant.session.view import view
from assistant.session.wire import to_wire
from tests.bench.review.generator import EPOCH, Recorder, demo_site
from tests.bench.review.operator import Manner
from tests.bench.review.stage import AUTHOR, PASSPHRASE, SUPERVISOR, TECHNICIAN
from tests.review.conftest import Browser, browser

CALM = Manner(0, 0, 0, 0, 0, 0, 0, person="Dana Reyes")


def recorder(desk: Desk, seed: int = 31) -> Recorder:
    return Recorder(desk.setup.records, demo_site(), seed, CALM, EPOCH, session_id="live")


def test_the_follower_shows_what_the_core_shows_after_every_decision(desk: Desk) -> None:
    made = recorder(desk)
    follower = desk.follower
    follower.poll()
    seen: list[int] = []

    def look() -> None:
        follower._looked_s = -1e9
        follower.poll()
        picture = follower.picture()["sessions"][0]
        truth = view(made.site.plan, made.operator.state)
        assert (picture["mode"], picture["done"], picture["total"]) == (truth.mode, truth.done, truth.total)
        assert [t["name"] for t in picture["timers"]] == [t.name for t in truth.timers]
        assert picture["lines"] == made.writer.count
        seen.append(picture["lines"])

    wrapped = made._decided

    def decided(facts, now_ms) -> None:
        wrapped(facts, now_ms)

    made.operator._decided = decided
    for stop in range(20_000, 500_000, 20_000):
        if made.operator.now_ms == 0:
            made.operator.begin()
        while made.operator.now_ms < stop:
            made.operator.act()
        look()
    assert len(set(seen)) > 15
    made.seal("left")
    follower.poll()
    assert follower.picture()["sessions"][0]["sealed"]


@pytest.mark.parametrize("room", [b"", b"\0" * 4096], ids=["at the end", "into room"])
def test_a_line_written_in_two_parts_is_read_once_and_whole(desk: Desk, room: bytes) -> None:
    made = recorder(desk)
    made.operator.begin()
    made.writer.close()
    path = made.folder / "record.jsonl"
    raw = path.read_bytes()
    plain = Follower(desk.setup.records, desk.sessions.plans)
    path.write_bytes(raw[:-40] + (b"\0" * 40 + room if room else b""))
    from assistant.review.serving.live import LiveSession

    live = LiveSession("gb-2/live", made.folder)
    live.feed(plain.plans, 0.0)
    count = live.lines
    if room:  # the second half is seen before the first
        path.write_bytes(raw[:-40] + b"\0" * 20 + raw[-20:] + room)
        assert not live.feed(plain.plans, 0.5)
    path.write_bytes(raw + room)
    live.feed(plain.plans, 1.0)
    assert live.lines == count + 1 and not live.problem


def test_a_session_that_ended_between_two_looks_is_shown_as_ended(desk: Desk) -> None:
    made = recorder(desk)
    made.operator.begin()
    desk.follower.poll()
    made.seal("left")
    desk.follower._looked_s = -1e9  # so that it looks which sessions are written before it reads on
    desk.follower.poll()
    (picture,) = desk.follower.picture()["sessions"]
    assert picture["sealed"] and picture["lines"] == made.writer.count


def test_a_session_that_broke_off_leaves_the_board(desk: Desk) -> None:
    made = recorder(desk)
    made.operator.begin()
    desk.follower.poll()
    assert desk.follower.sessions
    made.writer.close()
    desk.follower._looked_s = -1e9
    desk.follower.poll()
    assert not desk.follower.sessions
    desk.refresh()
    from tests.review.conftest import rows

    assert next(r for r in rows(desk) if r.session.endswith("live")).state == "open"


def waiting_for_witness(desk: Desk) -> Recorder:
    """A live session whose current step waits for a second person."""
    made = recorder(desk)
    made.operator.begin()
    while made.operator.state.mode != "step":
        made.operator.act()
    at_ms = made.operator.now_ms
    start = made.operator.state.current
    fact = steps.WitnessAsked(at_ms, start, at_ms)
    made.writer.append([to_wire(fact)], at_ms, made.wall(at_ms))
    desk.follower._looked_s = -1e9
    desk.follower.poll()
    return made


STATEMENT = {"direct": "yes", "statement": "I read the label myself.", "passphrase": PASSPHRASE}


def test_a_witness_states_what_they_saw_and_it_is_signed(desk: Desk) -> None:
    made = waiting_for_witness(desk)
    client = browser(desk)
    client.sign_in(TECHNICIAN)
    page = f"/board/witness/gb-2/{made.folder.name}"
    step = desk.follower.sessions[f"gb-2/{made.folder.name}"].state.current
    answer = client.submit(page, {**STATEMENT, "step": step, "name": TECHNICIAN})
    assert answer.status_code == 303, answer.text
    session = f"gb-2/{made.folder.name}"
    found = read_statements(made.folder, desk.accounts.keys.public_keys(), session)
    assert [(s.person, s.statement, s.step) for s in found] == [(TECHNICIAN, STATEMENT["statement"], step)]
    assert read_statements(made.folder, desk.accounts.keys.public_keys(), "gb-2/other") == []
    assert read_statements(made.folder, {}, session) == []  # a key that isn't the site's
    held = json.loads(found[0].path.read_bytes())
    found[0].path.write_bytes(json.dumps({**held, "statement": "Something else."}).encode())
    assert read_statements(made.folder, desk.accounts.keys.public_keys(), session) == []
    made.writer.close()


@pytest.mark.parametrize(
    ("change", "status"),
    [
        ({"direct": ""}, 400),
        ({"statement": ""}, 400),
        ({"passphrase": "wrong words"}, 403),
        ({"step": "another"}, 400),
        ({"name": SUPERVISOR}, 403),
    ],
)
def test_a_statement_that_is_not_whole_reaches_nobody(desk: Desk, change: dict, status: int) -> None:
    made = waiting_for_witness(desk)
    client = browser(desk)
    client.sign_in(TECHNICIAN)
    step = desk.follower.sessions[f"gb-2/{made.folder.name}"].state.current
    answer = client.submit(
        f"/board/witness/gb-2/{made.folder.name}", {**STATEMENT, "step": step, "name": TECHNICIAN, **change}
    )
    assert answer.status_code == status
    assert not (made.folder / "inbox").exists()
    made.writer.close()


def test_the_person_at_the_gauntlets_is_no_witness(desk: Desk) -> None:
    desk.accounts.add("Dana Reyes", "technician", PASSPHRASE, since="2026-01-01T00:00:00Z")
    made = waiting_for_witness(desk)
    client = browser(desk)
    client.sign_in("Dana Reyes")
    page = f"/board/witness/gb-2/{made.folder.name}"
    assert "A witness is a second person" in client.get(page).text
    assert (
        client.post(
            page,
            data={
                **STATEMENT,
                "name": "Dana Reyes",
                "step": "x",
                "csrf": client.get(page).text.split('name="csrf" value="')[1].split('"')[0],
            },
        ).status_code
        == 403
    )
    made.writer.close()


def test_a_remote_viewer_cannot_witness_a_surface(desk: Desk, tmp_path: Path) -> None:
    rule = tmp_path / "r.yaml"
    rule.write_text(
        "format: 1\nkind: review_rules\nrelease: [{purpose: any, final: [supervisor]}]\n"
        "witness: {this_machine: false, remote_steps: [reading, check]}\n"
    )
    desk.rules = load_rules(rule)
    from assistant.procedure.model.plan import CHECK, READING, WET, Step
    from assistant.review.pages.board import _remote

    class Asked:
        def __init__(self) -> None:
            self.desk = desk
            self.request = type("R", (), {"client": type("C", (), {"host": "192.0.2.7"})})

    assert "sees it directly" in _remote(Asked(), "gb-2", Step("a", WET, "x", surface="back_wall"))
    assert "sees it directly" in _remote(Asked(), "gb-2", Step("a", CHECK, "x", surface="back_wall"))
    assert _remote(Asked(), "gb-2", Step("a", READING, "x")) == ""
    desk.rules.witness.at_enclosure["gb-2"] = ["192.0.2.7"]
    assert _remote(Asked(), "gb-2", Step("a", WET, "x", surface="back_wall")) == ""
    assert "sees it directly" in _remote(Asked(), "pi-1", Step("a", WET, "x", surface="back_wall"))


def test_an_author_may_watch_but_not_witness(desk: Desk, client: Browser) -> None:
    made = waiting_for_witness(desk)
    client.sign_in(AUTHOR)
    assert client.get("/board").status_code == 200
    assert client.get(f"/board/witness/gb-2/{made.folder.name}").status_code == 403
    made.writer.close()
