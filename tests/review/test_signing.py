"""Deciding on a record: who may, what is refused, and that the signature is a line of the record that holds.

21 CFR 11.50 (printed name, time, meaning, shown wherever the record is read), 11.70 (bound to its record) and
11.200(a) (two components; in a series at least one) name what is checked; the sections were read.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from assistant.errors import RefusedError
from assistant.record.reader import read_record
from assistant.record.signing.keys import signature_holds
from assistant.record.verify import verify
from assistant.review.deciding.decisions import (
    ACCEPTED,
    MEANINGS,
    PROVISIONAL,
    REJECTED,
    REMARK,
    signed_lines,
    standing,
)
from assistant.review.deciding.signing import Wish, choices, sign
from assistant.review.deciding.site_rule import load_rules
from assistant.review.people.accounts import Account
from assistant.review.serving.desk import Desk
from tests.bench.review.generator import EPOCH, Recorder, demo_site
from tests.bench.review.operator import Manner
from tests.bench.review.stage import PASSPHRASE, SUPERVISOR, TECHNICIAN
from tests.review.conftest import Browser, browser, clumsy, rows, session_path

CALM = Manner(0, 0, 0, 0, 0, 0, 0, person="Dana Reyes")
FORM = {
    "decision": ACCEPTED,
    "reason": "Time line and words looked at.",
    "must_happen": "",
    "name": SUPERVISOR,
    "passphrase": PASSPHRASE,
}


def calm_session(desk: Desk, *, kind: str = "live", person: str = "Dana Reyes", seed: int = 900) -> Path:
    """A complete session without anything to object to."""
    manner = Manner(0, 0, 0, 0, 0, 0, 0, person=person)
    folder = Recorder(
        desk.setup.records, demo_site(), seed, manner, EPOCH, kind=kind, session_id=f"calm{seed}{kind}"
    ).finish(4 * 3600_000)
    desk.refresh()
    return folder


def path_of(folder: Path) -> str:
    return f"/sessions/{folder.parent.name}/{folder.name}"


def why_not(desk: Desk, folder: Path, name: str) -> dict[str, str]:
    found = choices(desk.sessions.open(folder), desk.rules, desk.accounts.find(name))
    return {c.decision: c.why_not for c in found}


def test_a_signature_shows_name_time_and_meaning_and_is_bound_to_the_seal(
    desk: Desk, client: Browser
) -> None:
    folder = calm_session(desk)
    client.sign_in()
    answer = client.submit(f"{path_of(folder)}/sign", FORM)
    assert answer.status_code == 303, answer.text
    record = read_record(folder)
    line = record.after_seal[-1]
    # 11.50(a): printed name, date and time, meaning.
    assert line.data["name"] == SUPERVISOR and line.data["meaning"] == MEANINGS[ACCEPTED]
    assert line.wall == desk.now_wall() and line.data["details"]["reason"] == FORM["reason"]
    # 11.70: the seal it is about, chained to it, and verified by Ed25519 (RFC 8032) against the registry.
    assert line.data["seal"] == record.seal.sha256
    report = verify(folder, public_keys=desk.accounts.keys.public_keys())
    assert report.complete and [s.problem for s in report.signatures] == [""]
    # 11.50(b): shown wherever the record is read by people.
    page = client.get(path_of(folder)).text
    assert MEANINGS[ACCEPTED] in page and SUPERVISOR in page and FORM["reason"] in page
    assert client.get(f"{path_of(folder)}/record.jsonl").content == (folder / "record.jsonl").read_bytes()
    row = next(r for r in rows(desk) if r.session.endswith(folder.name))
    assert row.decided and row.decision == ACCEPTED and row.decided_by == SUPERVISOR


def test_a_signature_cut_out_and_put_under_another_record_does_not_hold(desk: Desk, client: Browser) -> None:
    first, second = calm_session(desk), calm_session(desk, seed=901)
    client.sign_in()
    client.submit(f"{path_of(first)}/sign", FORM)
    moved = (first / "record.jsonl").read_bytes().splitlines(keepends=True)[-1]
    with open(second / "record.jsonl", "ab") as file:
        file.write(moved)
    assert not verify(second, witness=False).intact
    signed = signed_lines(read_record(second))
    assert standing(signed) is None
    assert "Doesn’t verify" in client.get(path_of(second)).text


def test_both_components_first_then_one_in_the_series(desk: Desk, client: Browser) -> None:
    """21 CFR 11.200(a)(1)(i): the first signing with all components, later ones with at least one."""
    first, second = calm_session(desk), calm_session(desk, seed=901)
    client.sign_in()
    without = {k: v for k, v in FORM.items() if k != "name"}
    assert client.submit(f"{path_of(first)}/sign", without).status_code == 403
    assert not read_record(first).after_seal
    assert client.submit(f"{path_of(first)}/sign", FORM).status_code == 303
    assert (
        client.submit(f"{path_of(second)}/sign", {**without, "passphrase": "wrong words"}).status_code == 403
    )
    assert client.submit(f"{path_of(second)}/sign", without).status_code == 303
    # A new visit is a new series.
    other = browser(desk)
    other.sign_in()
    third = calm_session(desk, seed=902)
    assert other.submit(f"{path_of(third)}/sign", without).status_code == 403


@pytest.mark.parametrize("decision", [ACCEPTED, REMARK, REJECTED])
def test_nobody_decides_on_a_session_they_worked_in(desk: Desk, decision: str) -> None:
    assert "You worked" in why_not(desk, calm_session(desk, person=SUPERVISOR), SUPERVISOR)[decision]
    desk.accounts.add("Olga Prim", "supervisor", PASSPHRASE, since="2026-01-01T00:00:00Z", aliases=("olga",))
    assert "You worked" in why_not(desk, calm_session(desk, person="OLGA ", seed=903), "Olga Prim")[decision]
    assert why_not(desk, calm_session(desk, seed=904), "Olga Prim")[decision] == ""


def test_own_light_clean_may_be_released_provisionally_but_not_signed_off(desk: Desk) -> None:
    folder = calm_session(desk, person=TECHNICIAN)
    found = why_not(desk, folder, TECHNICIAN)
    assert found[PROVISIONAL] == "" and all(found[d] for d in (ACCEPTED, REMARK, REJECTED))
    client = browser(desk)
    client.sign_in(TECHNICIAN)
    assert client.submit(f"{path_of(folder)}/sign", {**FORM, "name": TECHNICIAN}).status_code == 403
    answer = client.submit(f"{path_of(folder)}/sign", {**FORM, "name": TECHNICIAN, "decision": PROVISIONAL})
    assert answer.status_code == 303, answer.text
    row = next(r for r in rows(desk) if r.session.endswith(folder.name))
    assert row.decision == PROVISIONAL and not row.decided  # still waits for its review
    # The supervisor's decision comes on top.
    other = browser(desk)
    other.sign_in()
    assert other.submit(f"{path_of(folder)}/sign", FORM).status_code == 303
    assert standing(signed_lines(read_record(folder))).decision == ACCEPTED


def test_the_sites_rule_says_who(desk: Desk, tmp_path: Path) -> None:
    rule = tmp_path / "r.yaml"
    rule.write_text("format: 1\nkind: review_rules\nrelease:\n  - {purpose: any, final: [technician]}\n")
    desk.rules = load_rules(rule)
    folder = calm_session(desk)
    assert why_not(desk, folder, TECHNICIAN)[ACCEPTED] == ""
    assert "leaves this to: technician" in why_not(desk, folder, SUPERVISOR)[ACCEPTED]
    assert "no provisional release" in why_not(desk, folder, TECHNICIAN)[PROVISIONAL]


def test_practice_is_never_signed(desk: Desk, client: Browser) -> None:
    folder = calm_session(desk, kind="practice")
    assert all("practice" in why for why in why_not(desk, folder, SUPERVISOR).values())
    client.sign_in()
    assert client.submit(f"{path_of(folder)}/sign", FORM).status_code == 403
    assert not read_record(folder).after_seal
    assert "practice record" in client.get(path_of(folder)).text


def test_a_record_that_does_not_verify_is_never_signed(desk: Desk, client: Browser) -> None:
    folder = calm_session(desk)
    client.sign_in()
    path = folder / "record.jsonl"
    raw = path.read_bytes()
    spot = raw.index(b'"took_ms":') + 10
    path.write_bytes(raw[:spot] + (b"1" if raw[spot : spot + 1] != b"1" else b"2") + raw[spot + 1 :])
    answer = client.submit(f"{path_of(folder)}/sign", FORM)
    assert answer.status_code == 403
    assert path.read_bytes().count(b"record_signed") == 0
    assert (
        "doesn’t hold" in client.get(path_of(folder)).text
        or "Doesn’t verify" in client.get(path_of(folder)).text
    )


def test_an_open_record_is_never_signed(desk: Desk) -> None:
    recorder = Recorder(desk.setup.records, demo_site(), 5, CALM, EPOCH, session_id="open")
    recorder.operator.run(60_000)
    desk.refresh()
    assert all("isn't finished" in why for why in why_not(desk, recorder.folder, SUPERVISOR).values())
    recorder.writer.close()


def test_a_clean_with_deviations_is_not_released_provisionally(desk: Desk) -> None:
    with_deviation = clumsy(desk)
    assert with_deviation.deviations and with_deviation.verdict == "complete"
    folder = desk.setup.records / with_deviation.session
    name = next(p for p in ("Sam Okoro", "Mika Lund", "Dana Reyes") if p != with_deviation.technician)
    account = Account(name, "technician", "", "2026-01-01T00:00:00Z")
    why = {c.decision: c.why_not for c in choices(desk.sessions.open(folder), desk.rules, account)}
    assert "deviations" in why[PROVISIONAL]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"reason": "  "}, "needs its reason"),
        ({"decision": ""}, "Choose a decision"),
        ({"decision": REJECTED}, "what must happen"),
        ({"decision": "forged"}, "Choose a decision"),
    ],
)
def test_a_form_that_is_not_filled_in_signs_nothing(
    desk: Desk, client: Browser, change: dict, said: str
) -> None:
    folder = calm_session(desk)
    client.sign_in()
    answer = client.submit(f"{path_of(folder)}/sign", {**FORM, **change})
    assert answer.status_code == 400 and said in answer.text
    assert not read_record(folder).after_seal


def test_only_one_decision_stands_until_it_is_withdrawn_and_nothing_is_removed(
    desk: Desk, client: Browser
) -> None:
    folder = calm_session(desk)
    client.sign_in()
    client.submit(f"{path_of(folder)}/sign", FORM)
    again = client.submit(
        f"{path_of(folder)}/sign", {**FORM, "decision": REJECTED, "must_happen": "Clean again."}
    )
    assert again.status_code == 403 and "decided already" in again.text
    line = read_record(folder).after_seal[-1].seq
    before = (folder / "record.jsonl").read_bytes()
    other = browser(desk)
    other.sign_in(TECHNICIAN)
    stranger = other.submit(
        f"{path_of(folder)}/withdraw",
        {"line": str(line), "reason": "no", "name": TECHNICIAN, "passphrase": PASSPHRASE},
        page="/",
    )
    assert stranger.status_code == 403 and "Only who signed" in stranger.text
    gone = client.submit(
        f"{path_of(folder)}/withdraw",
        {"line": str(line), "reason": "Wrong session.", "passphrase": PASSPHRASE},
        page="/",
    )
    assert gone.status_code == 303
    after = (folder / "record.jsonl").read_bytes()
    assert after.startswith(before) and len(after) > len(before)  # a new line, nothing rewritten
    assert standing(signed_lines(read_record(folder))) is None
    assert not next(r for r in rows(desk) if r.session.endswith(folder.name)).decided
    assert verify(folder, public_keys=desk.accounts.keys.public_keys()).complete
    assert (
        client.submit(
            f"{path_of(folder)}/sign", {**FORM, "decision": REJECTED, "must_happen": "Clean again."}
        ).status_code
        == 303
    )


def test_the_witness_log_knows_of_the_signature(desk: Desk, client: Browser) -> None:
    folder = calm_session(desk)
    client.sign_in()
    client.submit(f"{path_of(folder)}/sign", FORM)
    entries = [
        json.loads(raw) for raw in (desk.setup.records / "_witness/log.jsonl").read_text().splitlines()
    ]
    assert [e["event"] for e in entries if e["session"].endswith(folder.name)][-1] == "signed"
    # and so a signature cut off again is missed
    path = folder / "record.jsonl"
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:-1]))
    assert any("missing" in p for p in verify(folder).problems)


def test_a_changed_passphrase_leaves_old_signatures_standing(desk: Desk, client: Browser) -> None:
    folder = calm_session(desk)
    client.sign_in()
    client.submit(f"{path_of(folder)}/sign", FORM)
    desk.accounts.set_passphrase(SUPERVISOR, "four other plain words", now="2026-03-04T00:00:00Z")
    line = read_record(folder).after_seal[-1]
    assert verify(folder, public_keys=desk.accounts.keys.public_keys()).complete
    assert line.data["public_key"] in {k.public_key for k in desk.accounts.keys.registry()}
    with pytest.raises(RefusedError):
        sign(
            folder,
            desk.sessions.open(folder),
            desk.rules,
            desk.accounts,
            desk.accounts.find(SUPERVISOR),
            PASSPHRASE,
            Wish(ACCEPTED, "again"),
            wall=desk.now_wall(),
        )
    assert not signature_holds(line.data["public_key"], b"something else", line.data["signature"])


def test_what_hangs_on_a_clean_that_is_not_accepted(desk: Desk, client: Browser) -> None:
    """From the last accepted clean to the next accepted one, with the preparations entered in between."""
    session = sorted(rows(desk), key=lambda r: r.started_utc)
    first, bad = session[0], session[3]
    client.sign_in()
    for row, form in (
        (first, {**FORM, "decision": REMARK}),
        (bad, {**FORM, "decision": REJECTED, "must_happen": "Clean again, hold the preparations."}),
    ):
        answer = client.submit(f"{session_path(row)}/sign", form)
        assert answer.status_code == 303, answer.text
    inside = session[1].ended_local
    for number, at in (("P-0815", inside), ("P-0001", "2026-01-05T10:00:00+01:00")):
        desk.entries.add("preparation", "gb-2", number, at, "", SUPERVISOR, desk.now_wall())
    page = client.get(session_path(bad)).text
    assert "Not accepted." in page and "hold the preparations" in page
    assert "P-0815" in page and "P-0001" not in page
    assert f'href="{session_path(first)}"' in page
