"""Signing in: the same answer for a wrong name and a wrong passphrase, tries that are counted, cookies,
headers."""

from __future__ import annotations

import re

import pytest

from assistant.review.pages.door import NO, local_path
from assistant.review.people.accounts import Accounts, RateLimit
from assistant.review.people.visits import COOKIE, IDLE_S, READER_LONGEST_S, Visits
from assistant.review.serving.desk import Desk
from tests.bench.review.stage import PASSPHRASE, SUPERVISOR
from tests.review.conftest import Browser, browser

_CHANGING = re.compile(r'value="[^"]*"|This page: [^<]*')


def test_a_wrong_name_and_a_wrong_passphrase_look_the_same(client: Browser) -> None:
    answers = [
        client.sign_in("Nobody Known", "three plain words"),
        client.sign_in(SUPERVISOR, "not the right words"),
    ]
    assert [a.status_code for a in answers] == [401, 401]
    bodies = [_CHANGING.sub("", a.text) for a in answers]
    assert bodies[0] == bodies[1] and NO.replace("'", "&#39;") in answers[0].text
    assert answers[0].headers.keys() == answers[1].headers.keys()


def test_an_unknown_name_costs_one_hashing_like_a_known_one(desk: Desk) -> None:
    """Time follows work: the hasher is asked once either way, with the same cost."""
    asked: list[str] = []
    accounts = Accounts(desk.setup.home, hasher=desk.setup.hasher)
    real = accounts._hasher.verify

    class Counting:
        def verify(self, held, given):
            asked.append(held.rsplit("$", 2)[0])
            return real(held, given)

    accounts._hasher = Counting()
    assert accounts.sign_in("Nobody Known", "wrong words") is None
    assert accounts.sign_in(SUPERVISOR, "wrong words") is None
    assert accounts.sign_in(SUPERVISOR, PASSPHRASE) is not None
    assert len(asked) == 3 and len(set(asked)) == 1


@pytest.mark.parametrize("name", [SUPERVISOR, "Nobody Known"])
def test_too_many_tries_wait_whoever_they_name(desk: Desk, name: str) -> None:
    client = browser(desk)
    codes = [client.sign_in(name, "wrong words").status_code for _ in range(desk.by_name.most + 1)]
    assert codes == [401] * desk.by_name.most + [429]
    right = client.sign_in(name, PASSPHRASE)
    assert right.status_code == 429 and int(right.headers["retry-after"]) > 0


def test_the_wait_ends_and_a_success_clears_it() -> None:
    now = [0.0]
    limit = RateLimit(lambda: now[0], 3, 100.0)
    for _ in range(3):
        limit.failed("a")
    assert limit.wait_s("a") == 100.0 and limit.wait_s("b") == 0
    now[0] = 100.5
    assert limit.wait_s("a") == 0
    limit.failed("a")
    limit.forget("a")
    assert not limit._failures


def test_tries_at_one_moment_count_like_tries_one_after_the_other(desk: Desk) -> None:
    """Guesses that all arrive before the first is answered: no more of them reach the hasher than the limit lets."""
    hashed: list[str] = []
    clients = [browser(desk) for _ in range(2)]
    real = desk.accounts.sign_in

    def slow(name: str, passphrase: str):
        hashed.append(passphrase)
        if len(hashed) < desk.by_name.most + 5:  # while this one is worked on, the next arrives
            clients[len(hashed) % 2].sign_in(name, f"guess {len(hashed)}")
        return real(name, passphrase)

    desk.accounts.sign_in = slow
    clients[0].sign_in(SUPERVISOR, "guess 0")
    assert len(hashed) == desk.by_name.most


def test_signing_in_rightly_uses_up_no_tries(desk: Desk) -> None:
    client = browser(desk)
    for _ in range(desk.by_address.most + 2):
        client.cookies.clear()
        assert client.sign_in().status_code == 303


def test_cookies_are_out_of_reach_of_scripts_and_other_sites(client: Browser) -> None:
    cookie = client.sign_in().headers["set-cookie"]
    assert COOKIE in cookie and "HttpOnly" in cookie and "SameSite=lax" in cookie and "Path=/" in cookie


def test_a_visit_ends_when_idle_and_a_wall_screen_stays() -> None:
    now = [0.0]
    visits = Visits(lambda: now[0])
    token, _ = visits.begin(SUPERVISOR, "supervisor")
    screen, _ = visits.begin("Wall screen", "reader")
    while now[0] < 13 * 3600:
        now[0] += IDLE_S / 2
        assert visits.find(screen) is not None
        visits.find(token)
    assert visits.find(token) is None  # used all the time, but the day is over
    now[0] += READER_LONGEST_S
    assert visits.find(screen) is None


def test_another_sites_form_is_refused(client: Browser) -> None:
    client.sign_in()
    token = re.search(r'name="csrf" value="([^"]+)"', client.get("/").text)[1]
    assert (
        client.post(
            "/sign-out", data={"csrf": token}, headers={"origin": "http://elsewhere.example"}
        ).status_code
        == 403
    )
    other = token[:-1] + ("y" if token.endswith("x") else "x")
    assert client.post("/sign-out", data={"csrf": other}).status_code == 403
    assert client.post("/sign-out", data={"csrf": token}, follow_redirects=False).status_code == 303


def test_every_answer_carries_the_strict_headers(client: Browser) -> None:
    client.sign_in()
    for path in ("/", "/static/base.css", "/nowhere", "/sign-in", "/register/calendar.ics"):
        headers = client.get(path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy and "unsafe" not in policy and "data:" not in policy
        assert headers["x-content-type-options"] == "nosniff" and headers["referrer-policy"] == "same-origin"
        assert "server" not in headers


def test_no_page_holds_inline_script_or_style(client: Browser) -> None:
    client.sign_in()
    for path in ("/", "/sessions", "/board", "/register", "/register/gb-2", "/sign-in"):
        html = client.get(path).text
        assert not re.search(r"<script(?![^>]*\bsrc=)|<style|\sstyle=|\son[a-z]+=|javascript:", html, re.I), (
            path
        )
        for address in re.findall(r'(?:src|href|action)="([^"]*)"', html):
            assert address.startswith(("/", "#", "?")), address  # nothing is asked for outside


def test_an_address_that_isnt_ours_is_not_served(client: Browser) -> None:
    assert client.get("/sign-in", headers={"host": "rebound.example"}).status_code == 421
    assert client.get("/sign-in", headers={"host": "127.0.0.1:9999"}).status_code == 200


def test_a_long_body_is_refused(client: Browser) -> None:
    assert (
        client.post(
            "/sign-in", content=b"x" * 70_000, headers={"content-type": "application/x-www-form-urlencoded"}
        ).status_code
        == 413
    )


@pytest.mark.parametrize(
    ("wanted", "given"),
    [
        ("/sessions/gb-2/x?t=5", "/sessions/gb-2/x?t=5"),
        ("//evil.example/", "/"),
        ("/\\evil.example", "/"),
        ("https://evil.example/", "/"),
        ("", "/"),
        ("/a\nb", "/"),
        ("javascript:x", "/"),
        ("/a b", "/"),
    ],
)
def test_after_signing_in_only_pages_of_ours_come_next(wanted: str, given: str) -> None:
    assert local_path(wanted) == given
