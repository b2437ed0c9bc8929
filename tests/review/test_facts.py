"""The page of facts: every line with its own hash and address; what is said can be heard again, and is said to be made."""

from __future__ import annotations

import hashlib
import io
import re
import wave
from dataclasses import replace

import pytest

from assistant.account.names import step_name
from assistant.review.pages.facts import PER_PAGE
from assistant.review.serving.app import create_app
from assistant.review.serving.desk import Desk
from assistant.review.session.lane_builder import lanes
from assistant.session.facts.lines import LineSpoken
from tests.bench.review.generator import demo_site
from tests.review.conftest import Browser, browser, clumsy, session_path


def _record(desk: Desk) -> list[bytes]:
    return (desk.setup.records / clumsy(desk).session / "record.jsonl").read_bytes().splitlines()


def test_every_line_is_on_exactly_one_page_with_the_sha256_of_its_bytes(shared_desk: Desk) -> None:
    """The hash is worked out here from the file itself with hashlib, not taken from the reader."""
    client = browser(shared_desk)
    client.sign_in()
    raw = _record(shared_desk)
    seen: dict[int, str] = {}
    for page in range(1, -(-len(raw) // PER_PAGE) + 1):
        text = client.get(f"{session_path(clumsy(shared_desk))}/facts?page={page}").text
        for part in text.split('<tr id="line-')[1:]:
            number = int(part.split('"')[0])
            assert number not in seen
            seen[number] = re.search(r'<td class="hash">([0-9a-f]{64})</td>', part)[1]
    assert seen == {n: hashlib.sha256(line).hexdigest() for n, line in enumerate(raw, 1)}


def test_the_address_of_a_fact_shows_that_fact_whatever_kind_was_asked_for(shared_desk: Desk) -> None:
    client = browser(shared_desk)
    client.sign_in()
    path = session_path(clumsy(shared_desk)) + "/facts"
    for line in (1, PER_PAGE, PER_PAGE + 1, len(_record(shared_desk))):
        assert f'id="line-{line}"' in client.get(f"{path}?line={line}&kind=heard").text
    only = client.get(f"{path}?kind=heard").text
    assert set(re.findall(r'<td class="kind">([^<]*)<', only)) == {"heard"}
    assert client.get(f"{path}?kind=nothing&page=99999&line=99999999").status_code == 200


def test_everything_on_the_time_line_leads_to_the_fact_that_began_it(shared_desk: Desk) -> None:
    opened = shared_desk.sessions.open(shared_desk.setup.records / clumsy(shared_desk).session)
    items = [
        item
        for lane in lanes(opened.facts, opened.plan, opened.end_ms, opened.lines)
        for item in (*lane.spans, *lane.marks)
    ]
    assert len(items) > 50
    for item in items:
        line = opened.record.lines[item.line - 1]
        assert line.seq == item.line and not line.own
        at_ms = item.at_ms if hasattr(item, "at_ms") else item.start_ms
        assert abs(line.t_ms - at_ms) < 120_000  # a stroke is told when it is confirmed


def test_bridging_steps_have_names_that_people_use() -> None:
    plan = demo_site().plan
    assert step_name(plan, "bridge:move:room") == "Hands out of the gauntlets"
    assert step_name(None, "bridge:move:gauntlets") == "Hands into the gauntlets"
    assert step_name(None, "bridge:close:outer_door") == "Close outer door"
    assert step_name(None, "bridge:wait:*") == "Wait for every contact time"
    for opening in plan.openings.values():
        assert step_name(plan, f"bridge:close:{opening.id}") == f"Close the {opening.name}"


def _speaking(desk: Desk) -> tuple[Browser, list[tuple[str, str]]]:
    """A client of a desk with a voice that keeps what it was asked for."""
    asked: list[tuple[str, str]] = []

    def speak(text: str, language: str) -> bytes:
        asked.append((text, language))
        held = io.BytesIO()
        with wave.open(held, "wb") as out:
            out.setnchannels(1)
            out.setsampwidth(2)
            out.setframerate(8000)
            out.writeframes(bytes(1600))
        return held.getvalue()

    desk.setup = replace(desk.setup, speak=speak)
    client = Browser(create_app(desk), base_url="http://localhost", headers={"accept": "text/html"})
    client.sign_in()
    return client, asked


def test_a_line_is_spoken_again_from_its_text_and_marked_as_such(desk: Desk) -> None:
    row = clumsy(desk)
    (desk.setup.records / row.session / "session.wav").unlink()
    client, asked = _speaking(desk)
    opened = desk.sessions.open(desk.setup.records / row.session)
    fact, line = next((f, n) for f, n in zip(opened.facts, opened.lines, strict=True) if isinstance(f, LineSpoken))
    answer = client.get(f"{session_path(row)}/spoken/{line}")
    assert answer.status_code == 200 and answer.headers["content-type"] == "audio/wav"
    assert asked == [(fact.text, "en")]
    for path in (session_path(row), session_path(row) + "/said"):
        assert "spoken again from the text, not the recording" in client.get(path).text


@pytest.mark.parametrize("line", ["1", "0", "-1", "99999", "x", "\u00b2", "9" * 30])
def test_only_a_line_of_the_assistant_is_spoken(desk: Desk, line: str) -> None:
    client, asked = _speaking(desk)
    assert client.get(f"{session_path(clumsy(desk))}/spoken/{line}").status_code == 404
    assert not asked


def test_without_a_voice_nothing_is_offered(shared_desk: Desk) -> None:
    client = browser(shared_desk)
    client.sign_in()
    path = session_path(clumsy(shared_desk))
    assert "/spoken/" not in client.get(path + "/said").text
    assert client.get(path + "/spoken/3").status_code == 404


def test_what_was_answered_at_the_start_stands_above_the_verdict_and_above_the_signature(desk: Desk) -> None:
    client = browser(desk)
    client.sign_in()
    path = session_path(clumsy(desk))
    page = client.get(path).text
    assert 0 < page.index('class="answers"') < page.index("May I release?")
    form = client.get(f"{path}/sign").text
    assert 0 < form.index('class="answers"') < form.index("<legend>Decision")
