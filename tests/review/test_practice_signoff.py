"""A trainee is signed off on evidence that is still what it was, by somebody else, with a signature that holds.

The signature is checked here with the `cryptography` package itself (Ed25519, RFC 8032), not with the room's reader.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from assistant.record.canonical import to_canonical
from assistant.review.desk import Desk
from assistant.review.measure.stage import PASSPHRASE, SUPERVISOR, TECHNICIAN
from assistant.review.practice_signoff import FILE, sign_offs
from tests.review.conftest import Browser, browser, practise

SIGNED = {"seen": "yes", "reason": "I watched the last assessment.", "name": SUPERVISOR, "passphrase": PASSPHRASE}


@pytest.fixture
def practised(desk: Desk, tmp_path: Path) -> Path:
    """A trainee with one assessment and one tracer wipe, in the desk's evidence."""
    return practise(desk, tmp_path)


def submit(client: Browser, change: dict[str, str] | None = None):
    return client.submit("/practice/mika-lund/sign", {**SIGNED, **(change or {})}, page="/practice")


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
    assert "Not ready yet" in page and "gone or were changed since" in page
    assert submit(client).status_code == 403


def test_a_sign_off_that_was_touched_or_moved_does_not_hold(desk: Desk, practised: Path) -> None:
    client = browser(desk)
    client.sign_in()
    assert [submit(client).status_code, submit(client).status_code] == [303, 303]
    keys = desk.accounts.keys.public_keys()
    assert [s.problem for s in sign_offs(practised, "mika-lund", keys)] == ["", ""]
    assert all(s.problem for s in sign_offs(practised, "somebody-else", keys))
    assert all(s.problem for s in sign_offs(practised, "mika-lund", {}))
    file = practised / FILE
    whole = file.read_bytes()
    file.write_bytes(whole.replace(b"last assessment", b"best assessment", 1))
    assert all(s.problem for s in sign_offs(practised, "mika-lund", keys))
    file.write_bytes(whole.split(b"\n", 1)[1])  # the first taken away
    assert all(s.problem for s in sign_offs(practised, "mika-lund", keys))
    file.write_bytes(b"\xff\n" + whole)
    assert client.get("/practice/mika-lund").status_code == 200


@pytest.mark.parametrize("name", ["nobody", "..", "%2e%2e", "mika-lund%2f..", "\u202e"])
def test_a_name_that_is_no_trainee_leads_nowhere(desk: Desk, practised: Path, name: str) -> None:
    client = browser(desk)
    client.sign_in()
    assert client.get(f"/practice/{name}").status_code in (200, 404)
    assert client.get(f"/practice/{name}").status_code == 404 or name == ".."
