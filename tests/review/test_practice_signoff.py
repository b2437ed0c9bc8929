"""A trainee is signed off on evidence that is still what it was, by somebody else, with a signature that holds.

The signature is checked here with the `cryptography` package itself (Ed25519, RFC 8032), not with the room's reader.
"""

from __future__ import annotations

import hashlib
import json
import shutil
from datetime import date
from pathlib import Path
from urllib.parse import quote

import pytest
from click.testing import CliRunner
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from assistant.errors import RefusedError, UsageError
from assistant.practice.trainee.folder import folder_name
from assistant.record.lines.canonical import to_canonical
from assistant.review.people.accounts import Accounts
from assistant.review.people.practice_signoff import sign_off
from assistant.review.people.practice_signoff_lines import (
    FILE,
    HEADS,
    SIGNED,
    WITHDRAWN,
    names_of,
    sign_offs,
    why_not_standing,
)
from assistant.review.people.signoff_cli import command
from assistant.review.serving.desk import Desk
from assistant.station.live.signed_off import require_sign_off
from tests.bench.review.stage import PASSPHRASE, SUPERVISOR, TECHNICIAN, WEAK_COST, WEAK_HASHER
from tests.review.conftest import Browser, browser, practise

FORM = {"seen": "yes", "reason": "I watched the last assessment.", "name": SUPERVISOR, "passphrase": PASSPHRASE}


@pytest.fixture
def practised(desk: Desk, tmp_path: Path) -> Path:
    """A trainee with one assessment and one tracer wipe, in the desk's evidence."""
    return practise(desk, tmp_path)


def submit(client: Browser, change: dict[str, str] | None = None):
    return client.submit("/practice/mika-lund/sign", {**FORM, **(change or {})}, page="/practice")


def test_a_supervisor_sees_the_evidence_and_signs_it(desk: Desk, practised: Path) -> None:
    client = browser(desk)
    client.sign_in()
    page = client.get("/practice/mika-lund").text
    record = json.loads((practised / "sessions.jsonl").read_text())
    assert record["seal_sha256"] in page and "Mika Lund" in page and "<script>alert" not in page
    assert "Ready" in client.get("/practice").text
    answer = submit(client)
    assert answer.status_code == 303, answer.text
    held = json.loads((practised / FILE).read_bytes())
    body = {name: value for name, value in held.items() if name != "signature"}
    assert (body["name"], body["trainee"], body["evidence"]) == (SUPERVISOR, "mika-lund", [record["seal_sha256"]])
    public = Ed25519PublicKey.from_public_bytes(bytes.fromhex(held["public_key"]))
    public.verify(bytes.fromhex(held["signature"]), to_canonical(body))
    with pytest.raises(InvalidSignature):
        public.verify(bytes.fromhex(held["signature"]), to_canonical({**body, "trainee": "somebody-else"}))
    assert SUPERVISOR in client.get("/practice/mika-lund").text


@pytest.mark.parametrize(
    ("change", "status"),
    [({"seen": ""}, 400), ({"reason": ""}, 400), ({"passphrase": "wrong words"}, 403), ({"name": TECHNICIAN}, 403)],
)
def test_a_sign_off_that_is_not_whole_is_not_made(
    desk: Desk, practised: Path, change: dict, status: int
) -> None:
    client = browser(desk)
    client.sign_in()
    assert submit(client, change).status_code == status
    assert not (practised / FILE).exists()


def test_nobody_signs_off_their_own_practice(desk: Desk, practised: Path) -> None:
    desk.accounts.add("Mika Lund", "supervisor", PASSPHRASE, since="2026-01-01T00:00:00Z")
    client = browser(desk)
    client.sign_in("Mika Lund")
    answer = submit(client, {"name": "Mika Lund"})
    assert answer.status_code == 403 and "your own practice" in answer.text
    assert not (practised / FILE).exists()


def test_evidence_that_was_changed_counts_no_more(desk: Desk, practised: Path) -> None:
    client = browser(desk)
    client.sign_in()
    assert submit(client).status_code == 303
    record = Path(json.loads((practised / "sessions.jsonl").read_text())["record"]) / "record.jsonl"
    record.write_bytes(record.read_bytes() + b"\n")
    page = client.get("/practice/mika-lund").text
    assert "Not ready yet" in page and "1 of the practice records it rests on are gone or were changed" in page
    assert submit(client).status_code == 403


def test_a_sign_off_that_was_touched_or_moved_does_not_hold(desk: Desk, practised: Path) -> None:
    client = browser(desk)
    client.sign_in()
    assert [submit(client).status_code, submit(client).status_code] == [303, 303]
    assert [s.problem for s in sign_offs(practised, "mika-lund", desk.accounts)] == ["", ""]
    assert all(s.problem for s in sign_offs(practised, "somebody-else", desk.accounts))
    file = practised / FILE
    whole = file.read_bytes()
    file.write_bytes(whole.replace(b"last assessment", b"best assessment", 1))
    assert all(s.problem for s in sign_offs(practised, "mika-lund", desk.accounts))
    file.write_bytes(whole.split(b"\n", 1)[1])  # the first taken away
    assert all(s.problem for s in sign_offs(practised, "mika-lund", desk.accounts))
    file.write_bytes(whole.split(b"\n", 1)[0] + b"\n")  # the last taken away
    assert [s.problem for s in sign_offs(practised, "mika-lund", desk.accounts)] == ["a line after it was changed or taken away"]
    file.write_bytes(b"\xff\n" + whole)
    assert client.get("/practice/mika-lund").status_code == 200


def test_the_statement_names_the_rules_content_and_every_record(desk: Desk, practised: Path) -> None:
    client = browser(desk)
    client.sign_in()
    submit(client)
    held = json.loads((practised / FILE).read_bytes())
    rule = hashlib.sha256(  # of the four values the file states, as RFC 8785 orders them
        b'{"assessments_in_a_row":1,"id":"small","title":"Small rule","tracer_wipe":true}'
    ).hexdigest()
    record = json.loads((practised / "sessions.jsonl").read_text())
    assert held["rule_sha256"] == rule and held["procedures"] == ["gb-2-light-clean"]
    assert held["evidence"] == [hashlib.sha256((Path(record["record"]) / "record.jsonl").read_bytes()).hexdigest()]
    assert held["demands"][0]["shown_by"] == [record["record"]]


@pytest.mark.parametrize(("change", "counts"), [
    ("assessments_in_a_row: 1\ntracer_wipe: yes\ntracer_valid_days: 90\n", False),
    ("assessments_in_a_row: 1   # one is enough\ntracer_wipe: yes\n", True),
])  # fmt: skip
def test_the_page_says_when_the_rule_has_changed_since(desk: Desk, practised: Path, change: str, counts: bool) -> None:
    client = browser(desk)
    client.sign_in()
    submit(client)
    (practised.parent.parent / "rule.yaml").write_text("id: small\ntitle: Small rule\n" + change)
    for address in ("/practice/mika-lund", "/practice"):
        assert ("the rule has changed since it was signed" in client.get(address).text) != counts


def withdraw(client: Browser, change: dict[str, str] | None = None):
    given = {"number": "1", "why": "The observer was not qualified.", "name": SUPERVISOR, "passphrase": PASSPHRASE}
    return client.submit("/practice/mika-lund/withdraw", {**given, **(change or {})}, page="/practice")


def test_a_sign_off_is_withdrawn_by_a_further_signed_line_and_stays_readable(desk: Desk, practised: Path) -> None:
    client = browser(desk)
    client.sign_in()
    submit(client)
    before = (practised / FILE).read_bytes()
    assert withdraw(client).status_code == 303
    whole = (practised / FILE).read_bytes()
    assert whole.startswith(before)
    line = json.loads(whole[len(before):])
    assert line["withdraws_sha256"] == line["prev"] == hashlib.sha256(before.rstrip(b"\n")).hexdigest()
    first, second = sign_offs(practised, "mika-lund", desk.accounts)
    assert (first.kind, first.withdrawn_by, second.kind, second.problem) == (SIGNED, 2, WITHDRAWN, "")
    assert why_not_standing(first, first.rule_sha256, first.evidence) == "the sign-off was withdrawn"
    page = client.get("/practice/mika-lund").text
    assert "Withdrawn by line 2" in page and "The observer was not qualified." in page
    assert "the sign-off was withdrawn" in client.get("/practice").text
    assert withdraw(client).status_code == 403  # not twice
    (practised / FILE).write_bytes(before)  # the withdrawal cut off again: the head kept beside the keys knows better
    assert sign_offs(practised, "mika-lund", desk.accounts)[0].problem
    (practised / FILE).write_bytes(whole.replace(b"not qualified", b"now qualified"))
    assert all(s.problem for s in sign_offs(practised, "mika-lund", desk.accounts))
    (practised / FILE).write_bytes(whole)
    (desk.accounts.keys.folder / HEADS).unlink()
    assert all(s.problem for s in sign_offs(practised, "mika-lund", desk.accounts))


@pytest.mark.parametrize(("change", "status"), [
    ({"why": " "}, 400), ({"number": "9"}, 403), ({"number": "x"}, 400), ({"passphrase": "wrong words"}, 403),
])  # fmt: skip
def test_a_withdrawal_that_is_not_whole_is_not_made(desk: Desk, practised: Path, change: dict, status: int) -> None:
    client = browser(desk)
    client.sign_in()
    submit(client)
    before = (practised / FILE).read_bytes()
    answer = withdraw(client, change)
    assert answer.status_code == status and (practised / FILE).read_bytes() == before


def test_a_key_made_by_oneself_signs_nobody_off(desk: Desk, practised: Path, tmp_path: Path) -> None:
    found = desk.setup.evidence.of("mika-lund")
    account = desk.accounts.find(SUPERVISOR)
    other = Accounts(tmp_path / "other", hasher=WEAK_HASHER, cost=WEAK_COST)
    other.add(SUPERVISOR, "supervisor", PASSPHRASE, since="2026-01-01T00:00:00Z")
    forged = other.keys.unlock(SUPERVISOR, PASSPHRASE)
    sign_off(practised, found, desk.accounts, account, forged, reason="x", wall="2026-03-02T00:00:00Z")
    # a key of the site that belongs to no supervisor, with a line that claims the role
    plain = desk.accounts.keys.unlock(TECHNICIAN, PASSPHRASE)
    sign_off(practised, found, desk.accounts, account, plain, reason="x", wall="2026-03-02T00:00:00Z")
    # and one that was withdrawn before it signed
    gone = desk.accounts.keys.unlock(SUPERVISOR, PASSPHRASE)
    desk.accounts.keys.withdraw_key(SUPERVISOR, "2026-03-01T00:00:00Z")
    sign_off(practised, found, desk.accounts, account, gone, reason="x", wall="2026-03-02T00:00:00Z")
    problems = [s.problem for s in sign_offs(practised, "mika-lund", desk.accounts)]
    assert problems == ["its key isn't one of the site's", "who signed has no supervisor's account here",
                        "it was signed after its key was withdrawn"]


def gate(desk: Desk, practised: Path, procedure: str = "gb-2-light-clean", person: str = "Mika Lund") -> str:
    """What a live run answers; "" where it lets them work."""
    try:
        require_sign_off(
            person, procedure, str(practised.parent.parent / "rule.yaml"), evidence=practised.parent,
            home=desk.setup.home, today=date(2026, 3, 2),
        )  # fmt: skip
    except RefusedError as error:
        return f"{error.what} {error.try_next}"
    return ""


def test_a_live_run_asks_for_the_supervisors_signature_and_says_what_is_missing(desk: Desk, practised: Path) -> None:
    client = browser(desk)
    client.sign_in()
    asked = gate(desk, practised)
    assert "Missing: a supervisor's sign-off." in asked and "assistant review, page Practice" in asked
    submit(client)
    assert gate(desk, practised) == ""
    assert "it covers gb-2-light-clean, not gb-2-end-of-day" in gate(desk, practised, "gb-2-end-of-day")
    assert "1 assessments in a row" in gate(desk, practised, person="Somebody Else")
    withdraw(client)
    assert "the sign-off was withdrawn" in gate(desk, practised)
    submit(client)
    assert gate(desk, practised) == ""
    rule = practised.parent.parent / "rule.yaml"
    rule.write_text(rule.read_text() + "tracer_valid_days: 90\n")
    assert "the rule has changed since it was signed" in gate(desk, practised)


def test_a_live_run_refuses_where_a_record_is_gone_or_a_line_was_touched(desk: Desk, practised: Path) -> None:
    client = browser(desk)
    client.sign_in()
    submit(client)
    file = practised / FILE
    whole = file.read_bytes()
    file.write_bytes(whole.replace(b'"format":2', b'"format":1'))
    assert "the signature doesn't hold" in gate(desk, practised)
    file.write_bytes(whole)
    assert gate(desk, practised) == ""
    record = Path(json.loads((practised / "sessions.jsonl").read_text())["record"])
    with (record / "record.jsonl").open("ab") as out:
        out.write(b"\n")
    asked = gate(desk, practised)
    assert "assessments in a row" in asked and "1 of the practice records it rests on are gone" in asked
    shutil.rmtree(record)  # then nothing says any more whose older folder it is
    assert "assessments in a row" in gate(desk, practised) and "a supervisor's sign-off" in gate(desk, practised)


def test_a_name_with_signs_is_signed_off_by_somebody_else_and_counts_for_that_name_alone(desk: Desk, practised: Path) -> None:
    practised.rename(practised.with_name(folder_name("Mika Lund")))
    address = f"/practice/{quote(folder_name('Mika Lund'))}"
    client = browser(desk)
    client.sign_in()
    listed = client.get("/practice").text
    assert f'href="{address}"' in listed and ">Mika Lund<" in listed and "1 assessments" in client.get(address).text
    assert client.submit(f"{address}/sign", FORM, page="/practice").status_code in (200, 303)
    assert gate(desk, practised) == "" and "supervisor's sign-off" in gate(desk, practised, person="Mika-Lund")
    assert names_of(folder_name("Mika-Lund O'Hare"))[1] == "mika-lund o'hare"


def test_sign_offs_are_shown_and_withdrawn_on_the_command_line(desk: Desk, practised: Path) -> None:
    client = browser(desk)
    client.sign_in()
    submit(client)
    where = ["--home", str(desk.setup.home), "--evidence-folder", str(practised.parent)]
    rule = ["--rule", str(practised.parent.parent / "rule.yaml")]
    shown = CliRunner().invoke(command, ["show", "Mika Lund", *where, *rule], standalone_mode=False)
    assert shown.return_value == 0 and "signed off for gb-2-light-clean" in shown.output
    asked = ["withdraw", "Mika Lund", "--number", "1", "--supervisor", SUPERVISOR, "--reason", "Moved away.", *where,
             "--passphrase-stdin"]
    wrong = CliRunner().invoke(command, asked, input="not this one\n")
    assert isinstance(wrong.exception, RefusedError)
    assert CliRunner().invoke(command, asked, input=PASSPHRASE + "\n").exit_code == 0
    shown = CliRunner().invoke(command, ["show", "Mika Lund", *where, *rule, "--json"], standalone_mode=False)
    assert shown.return_value == 1 and json.loads(shown.output)["lines"][0]["withdrawn_by"] == 2
    nobody = CliRunner().invoke(command, ["show", "Nobody", *where])
    assert isinstance(nobody.exception, UsageError)


@pytest.mark.parametrize("name", ["nobody", "..", "%2e%2e", "mika-lund%2f..", "\u202e"])
def test_a_name_that_is_no_trainee_leads_nowhere(desk: Desk, practised: Path, name: str) -> None:
    client = browser(desk)
    client.sign_in()
    assert client.get(f"/practice/{name}").status_code in (200, 404)
    assert client.get(f"/practice/{name}").status_code == 404 or name == ".."
