"""In a real browser: find what went wrong, jump there, hear it, sign it; the board follows and comes back;
axe-core.

axe-core's own rules (WCAG 2.x among them) are the outside yardstick for what people with a keyboard, a screen
reader or poor sight can use.
"""

from __future__ import annotations

import io
import json
import shutil
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import pypdf
import pytest

from assistant.record.export.pdf import pdf_bytes
from assistant.record.reader import read_record
from assistant.record.verify import verify
from assistant.review.deciding.decisions import MEANINGS, REMARK
from assistant.review.serving.desk import Desk
from assistant.station.account.summary import summarise
from tests.bench.review.browser import axe_findings, launched
from tests.bench.review.generator import Recorder, demo_site
from tests.bench.review.operator import Manner
from tests.bench.review.stage import PASSPHRASE, SUPERVISOR, Served, make_desk, served
from tests.review.conftest import NOW, clumsy, practise, rows

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def chromium(chromium_path: str) -> Iterator:
    with launched(chromium_path) as browser:
        yield browser


@pytest.fixture(scope="module")
def place(template_site: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One copy for this file."""
    root = tmp_path_factory.mktemp("browser") / "site"
    shutil.copytree(template_site, root)
    return root


@pytest.fixture(scope="module")
def here(place: Path) -> Iterator[Served]:
    desk = make_desk(place, now=NOW, refresh_s=0.5)
    desk.refresh()
    practise(desk, place.parent)
    with served(desk) as running:
        yield running


@pytest.fixture(scope="module")
def state(chromium, here: Served) -> dict:
    """What a browser keeps of a supervisor's signing in."""
    context = chromium.new_context()
    sign_in(context.new_page(), here, "/")
    kept = context.storage_state()
    context.close()
    return kept


@pytest.fixture
def page(chromium, here: Served, state: dict) -> Iterator:
    """A signed-in supervisor's page; any error in a script or a broken policy fails the test."""
    context = chromium.new_context(viewport={"width": 1280, "height": 900}, storage_state=state)
    found = context.new_page()
    wrong: list[str] = []
    found.on("pageerror", lambda error: wrong.append(str(error)))
    found.on(
        "console", lambda message: wrong.append(message.text) if "Content Security" in message.text else None
    )
    found.goto(here.url + "/")
    yield found
    context.close()
    assert not wrong


def sign_in(page, here: Served, path: str) -> None:
    page.goto(here.url + path)
    page.get_by_label("Name").fill(SUPERVISOR)
    page.get_by_label("Passphrase").fill(PASSPHRASE)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(here.url + path)


def test_find_the_deviation_jump_to_it_hear_it_sign_it_and_see_the_signature(
    page, here: Served, place: Path
) -> None:
    heavy = clumsy(here.desk)
    folder = place / "records" / heavy.session
    # Find: the list is worst first, and says why.
    weights = {r.session: r.weight for r in rows(here.desk)}
    shown = [a.get_attribute("href").removeprefix("/sessions/") for a in page.locator(".need-link").all()]
    assert [weights[name] for name in shown] == sorted(weights.values(), reverse=True)
    card = page.locator(".need", has=page.locator(f'a[href="/sessions/{heavy.session}"]'))
    assert "Mishap: dropped item" in card.inner_text()
    card.locator("a").first.click()
    page.wait_for_selector("#player[data-ready=yes]")
    finding = min((f for f in heavy.finding_list if f.at_ms >= 0 and f.weight >= 6), key=lambda f: f.at_ms)
    # Jump: by key, from the start.
    page.evaluate("gauntletPlayer.seek(0)")
    page.keyboard.press("n")
    page.wait_for_function(
        "at => Math.abs(gauntletPlayer.now() - at) < 60000 && gauntletPlayer.now() > 0", arg=finding.at_ms
    )
    at_ms = page.evaluate("gauntletPlayer.now()")
    page.wait_for_function("at => document.querySelector('.instant').dataset.at == at", arg=str(round(at_ms)))
    # The panel is the core's state, folded on the server.
    state = here.desk.sessions.open(folder).state_at(round(at_ms))
    assert f"{state.deviations} so far" in page.locator("#instant").inner_text()
    # Hear: the media element really plays, and the cursor moves with it.
    page.keyboard.press("Space")
    page.wait_for_function(
        "at => { const s = document.getElementById('sound');"
        " return !s.paused && s.currentTime * 1000 > at + 300 }",
        arg=at_ms,
    )
    assert page.evaluate("!gauntletPlayer.own && document.getElementById('sound').error === null")
    cursor = float(page.locator("#cursor").get_attribute("x1").rstrip("%"))
    assert cursor > 100 * at_ms / heavy.duration_ms
    page.select_option("#speed", "16")
    before = page.evaluate("gauntletPlayer.now()")
    page.wait_for_function("at => gauntletPlayer.now() > at + 8000", arg=before, timeout=8000)
    assert page.evaluate("gauntletPlayer.own || document.getElementById('sound').playbackRate === 16")
    page.keyboard.press("Space")
    # Sign.
    page.get_by_role("link", name="Decide and sign").click()
    page.get_by_label(MEANINGS[REMARK], exact=False).check()
    page.get_by_label("Reason").fill("Heard the place twice. The surface was done again.")
    page.get_by_label("Name").fill(SUPERVISOR)
    page.get_by_label("Passphrase").fill(PASSPHRASE)
    page.get_by_role("button", name="Sign").last.click()
    page.wait_for_selector(".signature")
    shown = page.locator(".signature").inner_text()
    assert SUPERVISOR in shown and MEANINGS[REMARK] in shown.casefold()
    # And it is in the record that leaves the house.
    with page.expect_download() as download:
        page.get_by_role("link", name="Download the record").click()
    taken = Path(download.value.path()).read_bytes()
    assert json.loads(taken.splitlines()[-1])["data"]["name"] == SUPERVISOR
    assert read_record(folder).after_seal[-1].data["meaning"] == MEANINGS[REMARK]
    assert verify(folder, public_keys=here.desk.accounts.keys.public_keys()).complete
    # And on the report that is exported (21 CFR 11.50(b): in any readable form; the section was read).
    record = read_record(folder)
    report = pypdf.PdfReader(io.BytesIO(pdf_bytes(record, summarise(record))))
    text = " ".join(" ".join(sheet.extract_text() for sheet in report.pages[:4]).split())
    assert SUPERVISOR in text and MEANINGS[REMARK] in text


def test_any_refused_word_can_be_listened_to(page, here: Served) -> None:
    row = clumsy(here.desk)
    page.goto(f"{here.url}/sessions/{row.session}")
    page.wait_for_selector("#player[data-ready=yes]")
    buttons = page.locator("button.listen")
    assert buttons.count() == min(25, page.locator("table.words tbody tr").count()) > 0
    buttons.first.click()
    page.wait_for_function(
        "() => { const c = document.getElementById('clip'), s = document.getElementById('sound');"
        " return c.currentTime > 0.1 || (!s.paused && s.currentTime > 0) }"
    )


def test_a_link_to_an_instant_shows_that_instant_with_and_without_scripts(
    page, here: Served, chromium
) -> None:
    row = rows(here.desk)[0]
    target = f"{here.url}/sessions/{row.session}?t=123456"
    page.goto(target)
    page.wait_for_selector("#player[data-ready=yes]")
    assert page.evaluate("Math.round(gauntletPlayer.now())") == 123456
    assert "2:03" in page.locator(".instant-time").inner_text()
    plain = chromium.new_context(java_script_enabled=False, storage_state=page.context.storage_state())
    try:
        bare = plain.new_page()
        bare.goto(target)
        assert "2:03" in bare.locator(".instant-time").inner_text()
        assert not bare.locator(".controls").is_visible()  # nothing that wouldn't work is shown
    finally:
        plain.close()


def test_everything_on_a_session_can_be_reached_and_worked_by_keyboard(page, here: Served) -> None:
    row = rows(here.desk)[0]
    page.goto(f"{here.url}/sessions/{row.session}?t=60000")
    page.wait_for_selector("#player[data-ready=yes]")
    reached: set[str] = set()
    for _ in range(40):
        page.keyboard.press("Tab")
        reached.add(page.evaluate("(e => e.id || e.className || e.tagName)(document.activeElement)"))
    assert {"prev", "play", "next", "speed", "zoom-in", "copy", "scrub", "tl-scroll"} <= reached
    page.evaluate("document.activeElement.blur()")
    page.keyboard.press("ArrowRight")
    assert page.evaluate("Math.round(gauntletPlayer.now())") == 65000
    page.keyboard.press("+")
    width = page.evaluate(
        "document.getElementById('tl-width').clientWidth / document.getElementById('tl-scroll').clientWidth"
    )
    assert width > 1.9
    page.keyboard.press("0")
    assert page.evaluate(
        "(id => id('tl-width').clientWidth <= id('tl-scroll').clientWidth + 1)"
        "(id => document.getElementById(id))"
    )


LINES = "n => document.getElementById('board').dataset.lines == n"


def test_the_board_follows_a_live_session_and_loses_nothing_when_the_connection_drops(
    chromium, site: Path
) -> None:
    desk = make_desk(site, refresh_s=0.5)
    made = Recorder(
        site / "records",
        demo_site(),
        41,
        Manner(0, 0, 0, 0, 0, 0, 0, person="Dana Reyes"),
        datetime.now().astimezone(),
        session_id="live",
    )
    made.operator.begin()

    def work(times: int) -> str:
        for _ in range(times):
            made.operator.act()
        return str(made.writer.count)

    context = chromium.new_context()
    page = context.new_page()
    with served(desk) as first:
        sign_in(page, first, "/board")
        page.wait_for_function("() => document.getElementById('link').textContent === 'Live'")
        for _ in range(3):
            page.wait_for_function(LINES, arg=work(5))  # each time without loading the page again
        shown = page.locator(".tile").inner_text()
        assert "Dana Reyes" in shown and "step" in shown and "Last heard" in shown
        port = int(first.url.rpartition(":")[2])
    # The server is gone: the board says so, and keeps showing what it knew as old.
    page.wait_for_function("() => document.getElementById('link').classList.contains('lost')")
    assert "Connection lost" in page.locator("#link").inner_text()
    assert page.evaluate("() => document.getElementById('board').classList.contains('stale')")
    missed = work(12)  # what happens meanwhile
    with served(desk, port):
        page.wait_for_function(LINES, arg=missed, timeout=15_000)  # no reload, nothing lost
        assert page.locator("#link").inner_text() == "Live"
        page.wait_for_function(LINES, arg=work(3))
        assert made.operator.state.person in page.locator(".tile").inner_text()
        context.close()
    made.writer.close()


def axe_paths(desk: Desk) -> dict[str, str]:
    row = rows(desk)[0]
    return {
        "home": "/",
        "sessions": "/sessions",
        "session": f"/sessions/{row.session}",
        "sign": f"/sessions/{row.session}/sign",
        "facts": f"/sessions/{row.session}/facts",
        "said": f"/sessions/{row.session}/said",
        "practice": "/practice",
        "trainee": "/practice/mika-lund",
        "board": "/board",
        "register": "/register",
        "enclosure": "/register/gb-2",
        "message": "/nowhere",
        "sign-in": "/sign-in",
        "empty list": "/sessions?words=nothingfits",
    }


# In the dark only colours differ, so the pages that hold all of them do.
@pytest.mark.parametrize(
    ("scheme", "names"), [("light", ()), ("dark", ("home", "session", "sign", "register"))]
)
def test_axe_core_finds_nothing_serious_on_any_page(
    page, here: Served, scheme: str, names: tuple[str, ...]
) -> None:
    page.emulate_media(color_scheme=scheme)
    serious = []
    for name, path in axe_paths(here.desk).items():
        if names and name not in names:
            continue
        page.goto(here.url + path)
        found = axe_findings(page)
        assert found.rules_run > 20, name  # axe really ran
        serious += [f"{name}: {item}" for item in found.serious]
    assert not serious


def test_no_page_is_wider_than_its_window(page, here: Served) -> None:
    """1024 px, a phone, and 200 % zoom of 1280 x 900 (which is 640 x 450 to the page)."""
    for name, path in axe_paths(here.desk).items():
        page.goto(here.url + path)
        for width, height in ((1024, 768), (640, 450), (390, 800)):
            page.set_viewport_size({"width": width, "height": height})
            assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), (name, width)


def test_no_request_leaves_this_machine(page, here: Served) -> None:
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    for path in axe_paths(here.desk).values():
        page.goto(here.url + path)
    assert len(asked) > 20 and all(url.startswith(here.url) for url in asked)


def test_on_a_phone_what_a_table_tells_first_is_not_cut_off(page, here: Served) -> None:
    """400 px wide: how each step went, each doubtful word and each demand can be read without scrolling sideways."""
    page.set_viewport_size({"width": 400, "height": 850})
    paths = axe_paths(here.desk)
    for name in ("session", "practice", "trainee"):
        page.goto(here.url + paths[name])
        for table in page.locator(".scroll:has(> .steps), .scroll:has(> .words), .scroll:has(> .narrow)").all():
            wide, room = table.evaluate("it => [it.scrollWidth, it.clientWidth]")
            assert wide <= room, (name, table.get_attribute("aria-label"), wide, room)
    page.goto(here.url + paths["session"])
    assert page.locator(".tl-name").evaluate_all("all => all.filter(it => it.scrollWidth > it.clientWidth).map(it => it.title)") == []
