"""Sound and clips: in ranges, only what the record names, only for whom the site lets listen. And the
comparison."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from assistant.review.deciding.site_rule import load_rules
from assistant.review.serving.desk import Desk
from assistant.session.facts.lines import Heard
from tests.bench.review.stage import READER, TECHNICIAN
from tests.review.conftest import Browser, browser, clumsy, rows, session_path


def test_sound_comes_in_ranges(desk: Desk, client: Browser) -> None:
    """RFC 9110 section 14.4 and 15.3.7: a satisfied range is 206 with Content-Range; 15.5.17: else 416."""
    row = clumsy(desk)
    raw = (desk.setup.records / row.session / "session.wav").read_bytes()
    client.sign_in()
    part = client.get(f"{session_path(row)}/sound", headers={"range": "bytes=1000-1999"})
    assert part.status_code == 206 and part.content == raw[1000:2000]
    assert (
        part.headers["content-range"] == f"bytes 1000-1999/{len(raw)}"
        and part.headers["content-type"] == "audio/wav"
    )
    assert (
        client.get(f"{session_path(row)}/sound", headers={"range": f"bytes={len(raw) + 5}-"}).status_code
        == 416
    )
    whole = client.get(f"{session_path(row)}/sound")
    assert (
        whole.status_code == 200
        and whole.headers["accept-ranges"] == "bytes"
        and len(whole.content) == len(raw)
    )


def test_a_clip_is_the_sound_the_record_names_or_it_is_not_played(desk: Desk, client: Browser) -> None:
    row = clumsy(desk)
    opened = desk.sessions.open(desk.setup.records / row.session)
    named = next(f.clip_sha256 for f in opened.facts if isinstance(f, Heard) and f.clip_sha256)
    client.sign_in()
    answer = client.get(f"{session_path(row)}/clips/{named}")
    assert answer.status_code == 200 and hashlib.sha256(answer.content).hexdigest() == named
    path = opened.folder / "clips" / f"{named}.flac"
    stranger = hashlib.sha256(b"x").hexdigest()
    path.with_name(f"{stranger}.flac").write_bytes(b"x")
    assert (
        client.get(f"{session_path(row)}/clips/{stranger}").status_code == 404
    )  # there, but not in the record
    path.write_bytes(path.read_bytes() + b"\0")
    assert client.get(f"{session_path(row)}/clips/{named}").status_code == 404
    path.unlink()
    assert client.get(f"{session_path(row)}/clips/{named}").status_code == 404


@pytest.mark.parametrize("name", [TECHNICIAN, READER])
def test_somebodys_voice_is_not_for_everybody(desk: Desk, name: str) -> None:
    row = clumsy(desk)
    client = browser(desk)
    client.sign_in(name)
    assert client.get(f"{session_path(row)}/sound").status_code == 403
    page = client.get(session_path(row)).text
    assert '<audio id="sound"' not in page and "data-clip" not in page
    desk.rules.sound_listeners.append(desk.accounts.find(name).role)
    assert client.get(f"{session_path(row)}/sound").status_code == 200


def test_comparing_is_off_until_the_site_switches_it_on(desk: Desk, client: Browser, tmp_path: Path) -> None:
    row = rows(desk)[0]
    client.sign_in()
    assert client.get(f"{session_path(row)}/compare").status_code == 403
    assert "/compare" not in client.get(session_path(row)).text
    rule = tmp_path / "r.yaml"
    rule.write_text(
        "format: 1\nkind: review_rules\ncompare: true\nrelease: [{purpose: any, final: [supervisor]}]\n"
    )
    desk.rules = load_rules(rule)
    assert f"{session_path(row)}/compare" in client.get(session_path(row)).text
    assert client.get(f"{session_path(row)}/compare").status_code == 200
    other = browser(desk)
    other.sign_in(TECHNICIAN)
    assert other.get(f"{session_path(row)}/compare").status_code == 403


@pytest.mark.parametrize("name", [TECHNICIAN, READER])
def test_the_clip_of_a_word_is_for_those_the_site_lets_hear_clips(desk: Desk, name: str) -> None:
    row = clumsy(desk)
    opened = desk.sessions.open(desk.setup.records / row.session)
    named = next(f.clip_sha256 for f in opened.facts if isinstance(f, Heard) and f.clip_sha256)
    url = f"{session_path(row)}/clips/{named}"
    client = browser(desk)
    client.sign_in(name)
    assert client.get(url).status_code == 403
    assert named not in client.get(f"{session_path(row)}/said").text
    desk.rules.clip_listeners.append(desk.accounts.find(name).role)
    answer = client.get(url)
    assert answer.status_code == 200 and hashlib.sha256(answer.content).hexdigest() == named
