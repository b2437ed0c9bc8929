"""Whose signature decides: the index judges by the site's keys, as the session's page does, and again when they change."""

from __future__ import annotations

from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from assistant.record.reader import read_record
from assistant.record.signing.keys import PublicKey, UnlockedKey, key_id_of
from assistant.record.signing.signatures import sign_record, withdraw_signature
from assistant.review.deciding.decisions import ACCEPTED, MEANINGS, REJECTED, signed_lines, standing
from assistant.review.register.index import Index, Row
from assistant.review.register.register import last_done
from assistant.review.serving.desk import Desk
from tests.bench.review.generator import EPOCH, Recorder, demo_site
from tests.bench.review.operator import Manner
from tests.bench.review.stage import PASSPHRASE, SUPERVISOR, make_desk
from tests.review.conftest import NOW, browser, rows, session_path

CALM = Manner(0, 0, 0, 0, 0, 0, 0, person="Dana Reyes")


def calm(desk: Desk, kind: str = "live", name: str = "calm") -> Path:
    folder = Recorder(
        desk.setup.records, demo_site(), 900, CALM, EPOCH, kind=kind, session_id=name
    ).finish(4 * 3600_000)
    desk.index.refresh()
    return folder


def row_of(desk: Desk, folder: Path) -> Row:
    return next(row for row in rows(desk) if row.session.endswith(folder.name))


def self_made() -> UnlockedKey:
    """A key that somebody made at home, with the supervisor's name on it."""
    private = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
    public = private.public_key().public_bytes_raw()
    return UnlockedKey(PublicKey(key_id_of(public), SUPERVISOR, "supervisor", public.hex(), NOW.isoformat()), private)


def sign(desk: Desk, folder: Path, key: UnlockedKey, decision: str = ACCEPTED) -> None:
    sign_record(folder, key, meaning=MEANINGS[decision], wall=desk.now_wall(), details={"decision": decision})
    desk.index.refresh()


def test_an_acceptance_by_a_self_made_key_hides_nothing_and_counts_for_nothing(desk: Desk) -> None:
    folder = calm(desk)
    before = row_of(desk, folder)
    assert before.needs and not before.decided
    sign(desk, folder, self_made())
    desk.index.refresh()
    row = row_of(desk, folder)
    assert (row.needs, row.decided, row.decision, row.decided_by) == (True, False, "", "")
    assert row.weight > before.weight and "counts for nothing" in row.reason_list[0]
    # The session's page judges by the same function.
    assert standing(signed_lines(read_record(folder), desk.accounts.keys.registry())) is None
    client = browser(desk)
    client.sign_in()
    home = client.get("/").text
    assert session_path(row) in home and "counts for nothing" in home
    listed = client.get("/sessions?state=accepted").text
    assert session_path(row) not in listed
    # In the register the clean is done, as it was, and nobody has reviewed it.
    done = last_done(desk.index, "gb-2")[row.purpose]
    assert (done.session, done.decided) == (row.session, False)
    assert desk.index.check() == []


def test_the_sites_own_acceptance_stands_beside_a_self_made_one(desk: Desk) -> None:
    folder = calm(desk)
    sign(desk, folder, desk.accounts.keys.unlock(SUPERVISOR, PASSPHRASE))
    row = row_of(desk, folder)
    assert (row.needs, row.decided, row.decided_by) == (False, True, SUPERVISOR)
    sign(desk, folder, self_made(), REJECTED)
    row = row_of(desk, folder)
    assert (row.decided, row.decision) == (True, ACCEPTED)


def test_a_self_made_withdrawal_withdraws_nothing(desk: Desk) -> None:
    folder = calm(desk)
    sign(desk, folder, desk.accounts.keys.unlock(SUPERVISOR, PASSPHRASE), REJECTED)
    line = read_record(folder).after_seal[-1].seq
    withdraw_signature(folder, self_made(), line=line, reason="changed my mind", wall=desk.now_wall())
    desk.index.refresh()
    row = row_of(desk, folder)
    assert (row.decided, row.decision) == (True, REJECTED)


def test_a_refusal_by_an_unknown_key_decides_nothing_but_no_clean_counts_by_it_either(desk: Desk) -> None:
    folder = calm(desk)
    sign(desk, folder, self_made(), REJECTED)
    desk.index.refresh()
    row = row_of(desk, folder)
    assert (row.needs, row.decided, row.decision) == (True, False, REJECTED)
    assert row.session not in {done.session for done in last_done(desk.index, "gb-2").values()}
    client = browser(desk)
    client.sign_in()
    assert "by a key that isn’t the site’s" in client.get("/").text


@pytest.mark.parametrize("quick", [True, False])
def test_keys_that_change_later_are_judged_by_again(desk: Desk, quick: bool) -> None:
    folder = calm(desk)
    look = desk.index.refresh_new if quick else desk.index.refresh
    sign(desk, folder, desk.accounts.keys.unlock(SUPERVISOR, PASSPHRASE))
    look()
    assert row_of(desk, folder).decided and look() == 0
    registry = desk.accounts.keys.folder / "public_keys.json"
    kept = registry.read_bytes()
    # Withdrawn from a moment after the signature: it stands. From before it: it doesn't.
    desk.accounts.keys.withdraw_key(SUPERVISOR, "2099-01-01T00:00:00Z")
    assert look() == 1 and row_of(desk, folder).decided
    registry.write_bytes(kept)
    look()
    desk.accounts.keys.withdraw_key(SUPERVISOR, "2026-01-02T00:00:00Z")
    assert look() == 1 and not row_of(desk, folder).decided
    assert "after its key was withdrawn" in row_of(desk, folder).reason_list[0]
    registry.write_bytes(kept)
    assert look() == 1 and row_of(desk, folder).decided
    # Somebody else's key changes no judgement; a registry that can't be read lets nothing stand.
    desk.accounts.keys.create_key("Another Person", "four other plain words", since=desk.now_wall())
    assert look() == 0
    registry.write_bytes(b"{")
    assert look() == 1 and not row_of(desk, folder).decided


def test_another_process_with_other_keys_leaves_no_judgement_behind(desk: Desk) -> None:
    folder = calm(desk)
    sign(desk, folder, self_made())
    other = Index(desk.setup.records, desk.index.file)
    other.refresh()
    assert row_of(desk, folder).decided  # it knows no keys, so it holds each signature only against itself
    desk.index.refresh()
    assert not row_of(desk, folder).decided
    other.engine.dispose()


def test_an_empty_store_and_one_with_practice_only_say_what_is_true(tmp_path: Path, site: Path) -> None:
    import shutil

    (tmp_path / "new" / "records").mkdir(parents=True)
    shutil.copytree(site / "home", tmp_path / "new" / "home", ignore=shutil.ignore_patterns("register*"))
    desk = make_desk(tmp_path / "new", now=NOW)
    desk.index.refresh()
    client = browser(desk)
    client.sign_in()
    page = client.get("/").text
    assert "There are no records yet." in page and "Everything is decided" not in page
    folder = calm(desk, "practice", "drill")
    page = client.get("/").text
    assert "No finished clean is here yet." in page and "Everything is decided" not in page
    shutil.rmtree(folder)
    folder = calm(desk)
    assert session_path(row_of(desk, folder)) in client.get("/").text
    sign(desk, folder, desk.accounts.keys.unlock(SUPERVISOR, PASSPHRASE))
    assert "Everything is decided." in client.get("/").text
