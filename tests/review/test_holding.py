"""A record that doesn't hold counts for nothing: not as done, not as released, and nobody can sign it."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from assistant.record.reader import read_record
from assistant.record.site_log import SiteLog
from assistant.record.verify import verify
from assistant.record.writer import create_record
from assistant.review.deciding.holding import why_not_holding
from assistant.review.register.register import _holds_by
from assistant.review.serving.desk import Desk
from assistant.review.session.opened import open_session
from tests.bench.review.stage import PASSPHRASE, SUPERVISOR
from tests.review.conftest import NOW, Browser, rows
from tests.review.test_register import duty


def forge(
    desk: Desk, change, *, state_sha256: str = "", name: str = "forged", header=lambda told: told, witness: bool = True
) -> Path:
    """The newest complete record written anew by another hand: chained and sealed as it should be, its facts changed."""
    last = max((r for r in rows(desk) if r.verdict == "complete"), key=lambda r: r.ended_utc)
    source = desk.setup.records / last.session
    record = read_record(source)
    wall = NOW.isoformat(timespec="milliseconds")
    writer = create_record(
        desk.setup.records, header(dict(record.header)), "live", enclosure="gb-2",
        stamp=NOW.strftime("%Y%m%dT%H%M%SZ"), session_id=name, rules=record.rules, wall=wall, witness=witness,
    )  # fmt: skip
    shutil.copytree(source / "site", writer.folder / "site")
    facts = [(line.t_ms, fact) for line, fact in record.facts()]
    for t_ms, fact in change(facts):
        writer.append([fact], t_ms, wall)
    writer.seal(writer.t_ms, wall, verdict="complete", state_sha256=state_sha256)
    return writer.folder


def without_starts(facts: list) -> list:
    return [(t, f) for t, f in facts if f["kind"] not in ("session_begun", "step_started")]


def no_fact(facts: list) -> list:
    return [(t, {**f, "kind": "surface_blessed"} if n == 5 else f) for n, (t, f) in enumerate(facts)]


def paper_header(told: dict) -> dict:
    return {**told, "transcribed": True}


FORGED = {
    "facts that can't follow each other": {"change": without_starts},
    "a fact of no kind": {"change": no_fact},
    "another end than was sealed": {"change": lambda facts: facts, "state_sha256": "0" * 64},
    "facts watched on paper": {"change": lambda facts: facts, "header": paper_header},
}


@pytest.mark.parametrize("how", FORGED)
def test_a_sealed_record_that_does_not_fold_counts_for_nothing_and_stands_first(
    desk: Desk, client: Browser, how: str
) -> None:
    before = duty(desk, "light")
    folder = forge(desk, **FORGED[how])
    assert verify(folder).complete  # line by line there is nothing wrong with it
    desk.index.refresh()
    after = duty(desk, "light")
    assert (after.session, after.last) == (before.session, before.last)
    worst = rows(desk)[0]
    assert worst.session == f"gb-2/{folder.name}" and (worst.state, worst.needs, worst.decided) == ("broken", True, False)
    assert "doesn't hold" in worst.reason_list[0] and desk.index.check() == []
    client.sign_in()
    first = client.get("/").text.partition('<ol class="needs">')[2].partition("</li>")[0]
    assert folder.name in first and "Doesn’t hold" in first
    page = client.get(f"/sessions/{worst.session}").text
    assert "No. The record doesn&#39;t hold." in page and "Decide and sign" not in page and ">Verifies<" not in page
    for decision in ("accepted", "accepted_with_remark", "not_accepted", "released_provisionally"):
        values = {
            "decision": decision, "reason": "x", "must_happen": "y", "name": SUPERVISOR, "passphrase": PASSPHRASE,
        }  # fmt: skip
        answer = client.submit(f"/sessions/{worst.session}/sign", values)
        assert answer.status_code == 403 and "hold" in answer.text
    assert len(read_record(folder).after_seal) == 0


def test_a_record_that_folds_but_that_the_core_would_not_have_written_is_not_signed(desk: Desk, client: Browser) -> None:
    def silent(facts: list) -> list:  # the core speaks with each step: no decision of its own leaves that out
        return [(t, f) for t, f in facts if f["kind"] != "line_spoken"]

    folder = forge(desk, silent)
    assert why_not_holding(open_session(folder)) == ""
    desk.index.refresh()
    client.sign_in()
    values = {"decision": "accepted_with_remark", "reason": "x", "name": SUPERVISOR, "passphrase": PASSPHRASE}
    answer = client.submit(f"/sessions/gb-2/{folder.name}/sign", values)
    assert answer.status_code == 403 and "no session of this program wrote it" in answer.text
    assert len(read_record(folder).after_seal) == 0


def test_a_record_that_the_witness_log_saw_otherwise_is_passed_over_for_the_next_older(desk: Desk) -> None:
    before = duty(desk, "light").session
    folder = forge(desk, lambda facts: facts)
    desk.index.refresh()
    assert duty(desk, "light").session == f"gb-2/{folder.name}"
    shutil.rmtree(folder)
    desk.index.refresh()
    assert forge(desk, lambda facts: [(t + 1, f) for t, f in facts], witness=False) == folder  # in the other's place
    assert why_not_holding(open_session(folder)) == "" and not verify(folder).complete
    desk.index.refresh()
    desk._witness_mark = -1  # the log is gone through again only after some seconds
    assert duty(desk, "light").session == before
    marks = SiteLog(desk.setup.records).check().marks
    held = {r.session: _holds_by(desk.setup.records, marks, r) for r in rows(desk)}
    assert held.pop(f"gb-2/{folder.name}") is False and all(held.values())


def test_paper_that_was_typed_in_holds_without_a_fold(desk: Desk) -> None:
    folder = forge(desk, lambda facts: [], header=paper_header, name="paper")
    assert why_not_holding(open_session(folder)) == ""


def test_every_record_of_the_site_holds(desk: Desk) -> None:
    for row in rows(desk):
        assert why_not_holding(open_session(desk.setup.records / row.session)) == "", row.session


def test_lines_after_the_seal_that_are_no_signatures_are_named(desk: Desk) -> None:
    folder = forge(desk, lambda facts: facts)
    lines = (folder / "record.jsonl").read_bytes().splitlines(keepends=True)
    held = json.loads(lines[-1])
    assert held["kind"] == "record_sealed"
    (folder / "record.jsonl").write_bytes(b"".join(lines) + lines[-1])
    desk.index.refresh()
    assert next(r for r in rows(desk) if r.session.endswith("-forged")).state == "broken"
