"""The register: dates from `calc.due`, an index that is nothing but the records, a calendar others can read.

RFC 5545 is held by reading the file back with the icalendar package and by the rules quoted at each check.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import icalendar
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from assistant.calc.due import DUE_TODAY, NEVER_DONE, OVERDUE, Due
from assistant.errors import SiteFileError, UsageError
from assistant.record.lines.canonical import to_canonical
from assistant.review.deciding.site_rule import load_rules
from assistant.review.register.agenda import calendar_file
from assistant.review.register.entries import SiteEntries
from assistant.review.register.index import Index, Row
from assistant.review.register.register import Duty, overdue, overdue_now
from assistant.review.serving.desk import Desk
from assistant.station.account.overdue import UNREAD, overdue_lines
from tests.bench.review.generator import EPOCH, Recorder, demo_site
from tests.bench.review.operator import Manner
from tests.bench.review.stage import PASSPHRASE, SUPERVISOR
from tests.review.conftest import Browser, browser, rows


def duty(desk: Desk, purpose: str) -> Duty:
    return next(d for d in desk.duties() if d.purpose == purpose and d.enclosure == "gb-2")


def test_the_last_complete_light_clean_counts_from_its_end(desk: Desk) -> None:
    last = max((r for r in rows(desk) if r.verdict == "complete"), key=lambda r: r.ended_utc)
    found = duty(desk, "light")
    assert found.session == last.session and found.by == last.technician
    ended = datetime.fromisoformat(found.last)
    assert found.due.due == ended.date() + timedelta(days=1)  # the enclosure file says 1 day
    assert duty(desk, "rigorous").due.status == NEVER_DONE


def test_a_clean_that_was_refused_does_not_count(desk: Desk, client: Browser) -> None:
    before = duty(desk, "light")
    client.sign_in()
    answer = client.submit(
        f"/sessions/{before.session}/sign",
        {
            "decision": "not_accepted",
            "reason": "The back wall dried.",
            "must_happen": "Clean again.",
            "name": SUPERVISOR,
            "passphrase": PASSPHRASE,
        },
    )
    assert answer.status_code == 303, answer.text
    after = duty(desk, "light")
    assert after.session != before.session and after.last < before.last


def test_what_was_done_by_hand_counts_until_it_is_struck(desk: Desk, client: Browser) -> None:
    client.sign_in()
    page = "/register/gb-2"
    assert duty(desk, "glove_change").due.status == NEVER_DONE
    answer = client.submit(
        f"{page}/entries",
        {"what": "done", "name": "glove_change", "at": "2026-02-23T09:00", "note": ""},
        page=page,
    )
    assert answer.status_code == 303
    found = duty(desk, "glove_change")
    assert (
        found.by == SUPERVISOR and found.due.status == OVERDUE and found.due.days_left == -1
    )  # every 7 days, now the 3rd
    assert overdue(desk.duties(), "gb-2") == [found]
    number = str(desk.entries.all()[0].number)
    client.submit(f"{page}/entries", {"what": "struck", "name": number}, page=page)
    assert duty(desk, "glove_change").due.status == NEVER_DONE
    assert len(desk.entries.file.read_bytes().splitlines()) == 2  # struck, not removed


def test_whoever_starts_a_session_can_ask_what_is_overdue(desk: Desk) -> None:
    desk.entries.add(
        "done", "gb-2", "glove_change", "2026-02-20T09:00:00+01:00", "", SUPERVISOR, desk.now_wall()
    )
    found = overdue_now(desk.setup.records, desk.setup.home, "gb-2", date(2026, 3, 3))
    assert [d.purpose for d in found] == ["glove_change"]
    assert overdue_now(desk.setup.records, desk.setup.home, "gb-2", date(2026, 2, 27)) == []


@pytest.mark.parametrize(
    "values",
    [
        {"what": "done", "name": "light"},
        {"what": "done", "name": "glove_change", "at": "2030-01-01T00:00"},
        {"what": "preparation", "name": " "},
        {"what": "sealed", "name": "x"},
        {"what": "preparation", "name": "x", "at": "soon"},
    ],
)
def test_an_entry_that_cannot_be_right_is_refused(desk: Desk, client: Browser, values: dict) -> None:
    client.sign_in()
    answer = client.submit(
        "/register/gb-2/entries", {"at": "2026-03-01T10:00", **values}, page="/register/gb-2"
    )
    assert answer.status_code == 400 and not desk.entries.all()


def test_a_torn_entry_loses_nothing_else(tmp_path: Path) -> None:
    entries = SiteEntries(tmp_path)
    now = "2026-03-02T10:00:00+01:00"
    entries.add("preparation", "gb-2", "P-1", now, "", "X", now)
    with open(entries.file, "ab") as file:
        file.write(b'{"number":2,"what":"prep')
    entries.add("preparation", "gb-2", "P-3", now, "", "X", now)
    assert [e.name for e in entries.all()] == ["P-1", "P-3"]
    assert len({e.number for e in entries.all()}) == 2
    with pytest.raises(UsageError):
        entries.add("preparation", "gb-2", "P\x1b[2J", now, "", "X", now)


def test_an_interval_longer_than_the_published_one_is_a_finding(desk: Desk) -> None:
    """USP <797> (2023): interior disinfected at least daily on days of use (read as a summary)."""
    file = desk.enclosures()["gb-2"]
    assert duty(desk, "light").finding == ""
    file.intervals.light = type(file.intervals.light)(3)
    assert "longer than the published 1 day" in duty(desk, "light").finding


def test_the_index_is_nothing_but_the_records(desk: Desk, tmp_path: Path) -> None:
    assert desk.index.check() == []
    before = [_values(r) for r in sorted(rows(desk), key=lambda r: r.session)]
    assert desk.index.rebuild() == len(before)
    assert [_values(r) for r in sorted(rows(desk), key=lambda r: r.session)] == before
    other = Index(desk.setup.records, tmp_path / "new.sqlite")
    other.refresh()
    assert other.check() == []


def test_an_index_that_was_tampered_with_is_found_and_made_anew(desk: Desk) -> None:
    session = rows(desk)[0].session
    with desk.index.db() as db:
        db.get(Row, session).verdict = "complete!"
        db.commit()
    assert any(session in p and "verdict" in p for p in desk.index.check())
    desk.index.rebuild()
    assert desk.index.check() == []


def test_a_file_that_is_no_index_is_replaced(desk: Desk, tmp_path: Path) -> None:
    path = tmp_path / "register.sqlite"
    path.write_bytes(b"not a database" * 100)
    index = Index(desk.setup.records, path)
    assert index.refresh() == len(rows(desk))


def test_new_grown_and_vanished_records_are_noticed(desk: Desk, site: Path) -> None:
    import shutil

    source = desk.setup.records / rows(desk)[0].session
    twin = source.with_name("20260101T000000Z-twin")
    shutil.copytree(source, twin)
    assert desk.index.refresh() == 1
    with open(twin / "record.jsonl", "ab") as file:
        file.write(b"{torn")
    assert desk.index.refresh() == 1
    shutil.rmtree(twin)
    desk.index.refresh()
    assert all("twin" not in r.session for r in rows(desk))


def test_the_quick_look_finds_new_records_and_unfinished_ones_that_grew(desk: Desk) -> None:
    made = Recorder(
        desk.setup.records, demo_site(), 5, Manner(0, 0, 0, 0, 0, 0, 0), EPOCH, session_id="growing"
    )
    made.operator.begin()
    assert desk.index.refresh_new() >= 1
    before = next(r for r in rows(desk) if r.session.endswith("growing"))
    for _ in range(4):
        made.operator.act()
    assert desk.index.refresh_new() == 1
    after = next(r for r in rows(desk) if r.session.endswith("growing"))
    assert (before.state, after.state) == ("live", "live") and after.facts > before.facts
    made.seal("left")
    desk.index.refresh_new()
    assert next(r for r in rows(desk) if r.session.endswith("growing")).state == "sealed"
    assert desk.index.refresh_new() == 0 and desk.index.check() == []


def _values(row: Row) -> dict:
    return {c: getattr(row, c) for c in Row.__table__.columns.keys()}  # noqa: SIM118 - its names


def test_the_calendar_file_is_rfc_5545(desk: Desk, client: Browser) -> None:
    client.sign_in()
    answer = client.get("/register/calendar.ics")
    assert answer.headers["content-type"].startswith("text/calendar")
    raw = answer.content
    # Section 3.1: lines end in CRLF and are at most 75 octets long.
    assert raw.endswith(b"\r\n") and all(len(line) <= 75 for line in raw.split(b"\r\n"))
    calendar = icalendar.Calendar.from_ical(raw)
    # Sections 3.6, 3.7.4, 3.7.3: VERSION and PRODID are required once.
    assert calendar["VERSION"] == "2.0" and calendar["PRODID"]
    events = calendar.walk("VEVENT")
    assert len(events) == len(desk.duties())
    # Section 3.6.1: UID and DTSTAMP required; 3.8.4.7: UIDs are unique.
    assert len({str(e["UID"]) for e in events}) == len(events) and all("DTSTAMP" in e for e in events)
    light = next(e for e in events if str(e["UID"]).startswith("gb-2-light"))
    assert light["DTSTART"].dt == duty(desk, "light").due.due
    # Section 3.6.1: DTEND of an all-day event is the day after, since it is not included.
    assert light["DTEND"].dt - light["DTSTART"].dt == timedelta(days=1)


def test_overdue_stands_on_today_in_the_calendar() -> None:
    today = date(2026, 3, 3)
    late = Duty(
        "gb-2",
        "GB-2",
        "rigorous",
        "Rigorous clean",
        7,
        "2026-02-20T09:00:00+01:00",
        "X",
        "",
        True,
        Due(OVERDUE, date(2026, 2, 27), -4),
    )
    now = Duty(
        "gb-2",
        "GB-2",
        "light",
        "Light clean",
        1,
        "2026-03-02T09:00:00+01:00",
        "X",
        "",
        True,
        Due(DUE_TODAY, today, 0),
    )
    events = icalendar.Calendar.from_ical(
        calendar_file([late, now], "S, T;\\", today, datetime.now(UTC))
    ).walk("VEVENT")
    assert [e["DTSTART"].dt for e in events] == [today, today]
    assert str(events[0]["SUMMARY"]).startswith("OVERDUE")


def test_a_rule_file_with_a_mistake_says_where(tmp_path: Path) -> None:
    path = tmp_path / "rules.yaml"
    path.write_text(
        "format: 1\nkind: review_rules\nrelease:\n"
        "  - {purpose: light, final: [supervisr]}\ntime_zone: Mars/Base\n"
    )
    with pytest.raises(SiteFileError) as caught:
        load_rules(path)
    text = caught.value.format_message()
    assert ":4" in text and ":5" in text and "supervisr" in text


def test_times_are_shown_in_the_sites_zone_with_the_offset(
    desk: Desk, tmp_path: Path, client: Browser
) -> None:
    path = tmp_path / "rules.yaml"
    path.write_text(
        "format: 1\nkind: review_rules\ntime_zone: Asia/Seoul\n"
        "release: [{purpose: any, final: [supervisor]}]\n"
    )
    desk.rules = load_rules(path)
    from assistant.review.session.times import Clock

    desk.clock = Clock(desk.rules.zone)
    client.sign_in()
    assert "(+09:00)" in client.get(f"/sessions/{rows(desk)[0].session}").text
    assert desk.clock.full(EPOCH) == "Mon 2 Mar 2026, 15:40:00 (+09:00)"  # 07:40 at +01:00


@pytest.mark.parametrize("number", ["²", "٣", "९", "1e3", "-1", "9" * 5_000, "", "７"])
def test_a_strike_that_names_no_entry_is_refused_and_harms_nobody(tmp_path: Path, number: str) -> None:
    entries = SiteEntries(tmp_path)
    now = "2026-03-02T10:00:00+01:00"
    entries.add("preparation", "gb-2", "P-1", now, "", "X", now)
    with pytest.raises(UsageError):
        entries.add("struck", "gb-2", number, now, "", "X", now)
    assert [e.name for e in entries.all()] == ["P-1"]


def test_another_enclosures_entry_cant_be_struck(tmp_path: Path) -> None:
    entries = SiteEntries(tmp_path)
    now = "2026-03-02T10:00:00+01:00"
    entries.add("preparation", "gb-2", "P-1", now, "", "X", now)
    with pytest.raises(UsageError):
        entries.add("struck", "pi-1", str(entries.all()[0].number), now, "", "X", now)


def _line(**fields: object) -> bytes:
    now = "2026-03-02T10:00:00+01:00"
    plain = {"number": 1, "what": "done", "enclosure": "gb-2", "name": "leak_test", "at": now, "note": "", "by": "X",
             "entered": now}
    return to_canonical({**plain, **fields})


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.one_of(
    st.binary(max_size=80).map(lambda raw: raw.replace(b"\n", b"")),
    st.text(max_size=30).map(lambda text: _line(what="struck", name=text)),
    st.sampled_from(["0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00", "2026-02-30T00:00:00Z", "²"]).map(
        lambda at: _line(at=at)),
    st.sampled_from([_line(number=True), _line(what="odd"), _line(number=-5), b"[]", b"7", b"{}", _line(name="\U0001f9e4")]),
), max_size=6))
def test_whatever_stands_among_the_entries_the_good_ones_are_read_and_live_work_starts(
    tmp_path: Path, lines: list[bytes],
) -> None:
    entries = SiteEntries(tmp_path)
    entries.file.parent.mkdir(exist_ok=True)
    good = _line(number=77)
    entries.file.write_bytes(b"\n".join([*lines, good]) + b"\n")
    read, odd = entries.read()
    assert 77 in {e.number for e in read}
    assert all(1 <= number <= len(lines) for number in odd)
    said = overdue_lines(tmp_path, "gb-2", date(2026, 3, 3))
    assert UNREAD not in said, "the register itself reads whatever is there"


def test_a_line_that_cant_be_understood_is_told_on_the_enclosures_page(desk: Desk) -> None:
    client = browser(desk)
    client.sign_in()
    desk.entries.file.parent.mkdir(parents=True, exist_ok=True)
    desk.entries.file.write_bytes(_line(what="struck", name="²") + b"\n" + _line(number=2) + b"\n")
    page = client.get("/register/gb-2")
    assert page.status_code == 200 and "line 1 of" in page.text
    assert client.get("/").status_code == client.get("/register/calendar.ics").status_code == 200


def test_a_start_goes_on_where_the_register_breaks_and_says_whom_to_tell(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("planted")

    monkeypatch.setattr("assistant.station.account.overdue.overdue_now", broken)
    assert overdue_lines(tmp_path, "gb-2", date(2026, 3, 3)) == [UNREAD]
