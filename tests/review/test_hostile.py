"""A record written by somebody hostile, and requests made by Hypothesis: never markup, never a 5xx, never a
hang."""

from __future__ import annotations

import html
import re
from datetime import timedelta
from pathlib import Path
from urllib.parse import quote

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from assistant.record.writer import create_record
from assistant.review.people.roles import TABLE, Access
from assistant.review.people.visits import COOKIE
from assistant.review.serving.desk import Desk
from assistant.session.facts import lines, session, steps, troubles
from assistant.session.wire import to_wire
from tests.bench.review.generator import EPOCH, copy_site, demo_site, header, stamp_of, wall_of
from tests.bench.review.stage import PASSPHRASE
from tests.review.conftest import Browser, browser, rows

MARKUP = "<script>alert(1)</script><img src=x onerror=alert(2)>\"'>{{7*7}}{%x%}"
TERMINAL = "\x1b[2J\x07\u202egnp.exe\u2066\u200b"
# An element or attribute made of record text would hold one of these unescaped.
_LIVE = re.compile(r"<script>alert|<img src=x|onerror=alert\(2\)>(?!&)")


def hostile_record(root: Path, *, fold: bool = True) -> Path:
    """Markup and control characters in every text a record can hold. `fold`: with a plan beside it."""
    site = demo_site()
    told = header(site.plan, MARKUP + TERMINAL)
    told["procedure"] = {**told["procedure"], "title": MARKUP + "T", "revision": MARKUP}
    told["enclosure"] = {"id": "gb-2", "name": MARKUP + "E"}
    told["site"] = MARKUP
    writer = create_record(
        root,
        told,
        "live",
        enclosure="gb-2",
        stamp=stamp_of(EPOCH + timedelta(hours=3)),
        session_id="hostile" if fold else "hostile2",
        rules=1,
        wall=wall_of(EPOCH),
    )
    if fold:
        copy_site(site.loaded, writer.folder)
    facts = [
        session.SessionBegun(0, MARKUP, "live", "x", MARKUP, site.plan.sha256, "gb-2"),
        lines.LineSpoken(5, 1, "notice", MARKUP + TERMINAL),
        lines.LineEnded(900, 1, 5, 900),
        lines.Heard(
            950,
            MARKUP,
            False,
            MARKUP,
            "voice",
            900,
            940,
            MARKUP + TERMINAL,
            MARKUP,
            10,
            ((MARKUP, 3),),
            "../" * 9,
        ),
        steps.StepStarted(960, MARKUP, MARKUP, "step"),
        troubles.Deviation(970, MARKUP, MARKUP, MARKUP + TERMINAL),
        steps.StepConfirmed(990, MARKUP, MARKUP, "single", 990, 5, MARKUP, MARKUP),
        troubles.DeviceLost(995, MARKUP),
        steps.ValueAccepted(996, MARKUP, MARKUP, MARKUP, False),
        steps.StepStarted(997, "before.certified", "", "step"),
        steps.WitnessGiven(998, "before.certified", MARKUP, MARKUP),
        session.VerdictReached(999, "stopped", (MARKUP, "step:" + MARKUP)),
    ]
    for fact in facts:
        writer.append([to_wire(fact)], fact.at_ms, wall_of(EPOCH))
    writer.append([{"kind": "from_the_future", "v": 9, "data": {"x": MARKUP}}], 1000, wall_of(EPOCH))
    writer.append([{"kind": "heard", "v": 1, "data": {"word": 5}}], 1001, wall_of(EPOCH))
    confirmed = to_wire(steps.StepConfirmed(1002, "x", "", "single", 990, 5, "x", "x"))
    confirmed["data"] |= {"policy": MARKUP, "took_ms": -5}
    writer.append([confirmed, {"kind": "verdict_reached", "v": 1, "data": {"verdict": MARKUP}}], 1002, wall_of(EPOCH))
    writer.seal(1002, wall_of(EPOCH), verdict=MARKUP, left_open=[MARKUP])
    return writer.folder


@pytest.mark.parametrize("fold", [True, False])
def test_nothing_a_record_says_becomes_markup_or_moves_text(desk: Desk, client: Browser, fold: bool) -> None:
    folder = hostile_record(desk.setup.records, fold=fold)
    desk.refresh()
    client.sign_in()
    own = f"/sessions/gb-2/{folder.name}"
    seen = ""
    for path in (
        "/",
        "/sessions",
        own,
        f"{own}?t=960&words=all",
        f"{own}/state?t=970",
        f"{own}/sign",
        f"{own}/facts",
        f"{own}/facts?kind=heard&line=3",
        f"{own}/said",
        f"{own}/said?part=1",
        "/register/gb-2",
        "/board",
    ):
        answer = client.get(path)
        assert answer.status_code == 200, path
        body = answer.text
        assert not _LIVE.search(body) and "49" not in re.findall(r"&gt;(\d+)\{%", body), path
        assert not re.search("[\x00-\x08\x0b\x1b\x07\u202e\u2066\u200b]", body), path
        seen += body
    assert html.escape("<script>alert(1)</script>") in seen  # it is shown, as text


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(name=st.text(st.characters(codec="utf-8"), min_size=1, max_size=60), note=st.text(max_size=60))
def test_an_entry_is_stored_and_shown_as_text_or_refused(shared_desk: Desk, name: str, note: str) -> None:
    client = browser(shared_desk)
    client.sign_in()
    answer = client.submit(
        "/register/gb-2/entries",
        {"what": "preparation", "name": name, "note": note, "at": "2026-03-01T10:00"},
        page="/register/gb-2",
    )
    assert answer.status_code in (303, 400)
    if answer.status_code == 303:
        shown = client.get("/register/gb-2").text
        assert (
            html.escape(" ".join(name.split())).replace("&#x27;", "&#39;").replace("&quot;", "&#34;") in shown
        )


PIECES = st.one_of(
    st.sampled_from(
        ["gb-2", "%2e%2e", "_site", "_witness", "0" * 64, "'", "%00", "%ff", "é", "a" * 300, "con", "%0d%0a"]
    ),
    st.text(st.characters(codec="utf-8"), min_size=1, max_size=12).map(lambda text: quote(text, safe="")),
)
VALUES = st.one_of(
    st.integers(-(10**20), 10**20).map(str),
    st.text(st.characters(codec="utf-8"), max_size=30),
    st.sampled_from(["all", "open", "9" * 400, "-1", "1e9", "²", "\x00", "accepted", "%", "_", "\\"]),
)
NAMES = st.sampled_from(
    [
        "t",
        "kind",
        "part",
        "page",
        "words",
        "state",
        "enclosure",
        "next",
        "done",
        "decision",
        "reason",
        "line",
        "name",
        "passphrase",
        "what",
        "at",
        "note",
        "direct",
        "statement",
        "step",
        "must_happen",
    ]
)


@pytest.mark.parametrize(
    "row", [r for r in TABLE if r.name not in ("board_events", "sign_out")], ids=lambda r: r.name
)
@settings(max_examples=9, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(data=st.data())
def test_made_up_requests_never_break_a_page(shared_desk: Desk, row: Access, data: st.DataObject) -> None:
    """Against every route, with a token that holds: the client raises where a handler has a bug."""
    client = _signed(shared_desk, data.draw(st.integers(0, 1)))
    path = row.path
    real = data.draw(st.sampled_from(rows(shared_desk))).session.split("/")
    for name, known in (
        ("{enclosure}", real[0]),
        ("{session}", real[1]),
        ("{clip}", "0" * 64),
        ("{line}", "2"),
        ("{trainee}", "nobody"),
        ("{path:path}", "base.css"),
    ):
        if name in path:
            path = path.replace(name, known if data.draw(st.integers(0, 3)) else data.draw(PIECES), 1)
    values = data.draw(st.dictionaries(NAMES, VALUES, max_size=5))
    if row.method == "POST":
        form = (
            client.get("/sign-in").text if row.name == "sign_in_post" else client.get("/register/gb-2").text
        )
        found = re.search(r'name="csrf" value="([^"]+)"', form)
        answer = client.post(path, data={"csrf": found[1] if found else "", **values}, follow_redirects=False)
    else:
        answer = client.get(path, params=values, follow_redirects=False)
    assert answer.status_code < 500


_CLIENTS: dict[tuple[int, int], Browser] = {}


def _signed(desk: Desk, number: int) -> Browser:
    """One signed-in client and one that isn't, kept between examples."""
    key = (id(desk), number)
    if key not in _CLIENTS:
        _CLIENTS[key] = browser(desk)
    client = _CLIENTS[key]
    if number == 0 and desk.visits.find(client.cookies.get(COOKIE)) is None:
        desk.by_name.forget("name:r. vane")
        desk.by_address.forget("address:testclient")
        client.sign_in("R. Vane", PASSPHRASE)
    return client


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(raw=st.binary(max_size=2_000), cut=st.integers(0, 3_000), at=st.integers(0, 200_000))
def test_a_damaged_record_is_shown_as_damaged(desk: Desk, raw: bytes, cut: int, at: int) -> None:
    """Bytes put into or cut out of a record: the list and its page still answer."""
    source = desk.setup.records / next(r.session for r in rows(desk) if "damaged" not in r.session)
    good = (source / "record.jsonl").read_bytes()
    at %= len(good)
    folder = desk.setup.records / "gb-2" / "20260301T000000Z-damaged"
    folder.mkdir(exist_ok=True)
    (folder / "record.jsonl").write_bytes(good[:at] + raw + good[at + cut :])
    desk.index.refresh_one("gb-2/20260301T000000Z-damaged")
    client = _signed(desk, 0)
    for path in (
        f"/sessions/gb-2/{folder.name}",
        f"/sessions/gb-2/{folder.name}/state?t=5000",
        f"/sessions/gb-2/{folder.name}/sign",
        "/",
        "/sessions",
    ):
        assert client.get(path).status_code in (200, 404)
