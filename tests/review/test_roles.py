"""Every route with every role, anonymous included: the table in `review.roles` is what the server does."""

from __future__ import annotations

import json

import pytest
from starlette.routing import Route

from assistant.review import pages
from assistant.review.people.accounts import FILE
from assistant.review.people.roles import ANONYMOUS, ROLES, TABLE, Access, may
from assistant.review.serving.desk import Desk
from tests.bench.review.stage import AUTHOR, READER, SUPERVISOR, TECHNICIAN
from tests.review.conftest import browser, rows

NAMES = {"supervisor": SUPERVISOR, "technician": TECHNICIAN, "author": AUTHOR, "reader": READER}
# What the table must say, written down a second time by hand: a slip in one of them shows.
OPEN_TO_ANYONE = {"static", "sign_in", "sign_in_post"}
SIGNERS_ONLY = {"sign", "sign_post", "withdraw", "witness", "witness_post", "entry_post"}
SUPERVISOR_ONLY = {"compare", "practice", "trainee", "trainee_sign", "trainee_withdraw"}


def address(row: Access, session: str) -> str:
    enclosure, name = session.split("/")
    return (
        row.path.replace("{path:path}", "base.css")
        .replace("{enclosure}", enclosure)
        .replace("{session}", name)
        .replace("{clip}", "0" * 64)
        .replace("{line}", "2")
        .replace("{trainee}", "nobody")
    )


def expected(row: Access, role: str) -> bool:
    if row.name in OPEN_TO_ANYONE:
        return True
    if role == ANONYMOUS:
        return False
    if row.name in SIGNERS_ONLY:
        return role in ("technician", "supervisor")
    return role == "supervisor" if row.name in SUPERVISOR_ONLY else True


@pytest.mark.parametrize("role", [ANONYMOUS, *ROLES])
def test_every_route_lets_in_exactly_the_roles_of_the_table(role: str, shared_desk: Desk) -> None:
    client = browser(shared_desk)
    if role != ANONYMOUS:
        assert client.sign_in(NAMES[role]).status_code == 303
    session = rows(shared_desk)[0].session
    walked = 0
    for row in TABLE:
        if row.name in ("board_events", "sign_out"):
            continue  # the stream never ends, and signing out would end the walk: both have tests below
        assert (role in row.roles) == expected(row, role), (row.name, role)
        # A form without its token is refused after the role was let in, with words of its own.
        answer = client.request(row.method, address(row, session), follow_redirects=False)
        sent_away = answer.status_code == 401 or (
            answer.status_code == 303
            and row.method == "GET"
            and answer.headers["location"].startswith("/sign-in")
        )
        not_yours = answer.status_code == 403 and "This isn&#39;t open to you." in answer.text
        assert (sent_away or not_yours) == (not expected(row, role)), (row.name, role, answer.status_code)
        if row.method == "POST" and expected(row, role) and row.name != "sign_in_post":
            assert answer.status_code == 403 and "no longer valid" in answer.text, row.name
        walked += 1
    assert walked == len(TABLE) - 2


@pytest.mark.parametrize("role", [ANONYMOUS, *ROLES])
def test_the_stream_and_signing_out_need_an_account(role: str, shared_desk: Desk) -> None:
    client = browser(shared_desk)
    if role == ANONYMOUS:
        assert client.get("/board/events", follow_redirects=False).status_code == 303
        assert client.post("/sign-out").status_code == 401
        return
    client.sign_in(NAMES[role])
    assert may(role, "board_events") and may(role, "sign_out")
    assert client.post("/sign-out").status_code == 403  # no token: somebody else's page
    assert client.submit("/sign-out", {}, page="/").headers["location"] == "/sign-in"
    assert client.get("/", follow_redirects=False).status_code == 303


def test_the_server_has_no_route_beside_the_table(shared_desk: Desk) -> None:
    app = browser(shared_desk).app.app
    served = {(method, r.path) for r in app.routes if isinstance(r, Route) for method in r.methods - {"HEAD"}}
    assert served == {(row.method, row.path) for row in TABLE}
    assert pages.handlers().keys() == {row.name for row in TABLE}
    assert len({row.name for row in TABLE}) == len(TABLE)


def test_a_closed_account_is_out_at_once(desk: Desk) -> None:
    client = browser(desk)
    client.sign_in(READER)
    assert client.get("/", follow_redirects=False).status_code == 200
    desk.accounts.close(READER, now="2026-03-03T08:00:00+01:00")
    assert client.get("/", follow_redirects=False).status_code == 303


def test_a_path_that_leads_out_of_the_records_is_no_session(shared_desk: Desk) -> None:
    client = browser(shared_desk)
    client.sign_in()
    for path in (
        "/sessions/../home",
        "/sessions/%2e%2e/home",
        "/sessions/gb-2/..%2f..%2fhome",
        "/sessions/_site/x",
        "/sessions/gb-2/%00",
        "/static/../app.py",
        "/static/%2e%2e/app.py",
        "/static/..%5capp.py",
        "/sessions/_witness/log.jsonl",
        "/sessions/gb-2/%2e%2e",
    ):
        assert client.get(path).status_code in (404, 400), path


def test_whose_role_was_changed_signs_in_again(desk: Desk) -> None:
    client = browser(desk)
    client.sign_in(SUPERVISOR)
    assert client.get("/", follow_redirects=False).status_code == 200
    file = desk.setup.home / FILE
    held = json.loads(file.read_text(encoding="utf-8"))
    account = next(a for a in held["accounts"] if a["name"] == SUPERVISOR)
    account["role"] = "reader"
    file.write_text(json.dumps(held), encoding="utf-8")
    assert client.get("/", follow_redirects=False).headers["location"].startswith("/sign-in")
    account["role"] = "supervisor"
    file.write_text(json.dumps(held), encoding="utf-8")
    assert client.get("/", follow_redirects=False).status_code == 303  # the visit is gone for good
