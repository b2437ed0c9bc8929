"""What an attack on the pages, or bad luck, found to fall: each by name, through the outermost surface it has."""

from __future__ import annotations

import socket
import sqlite3
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
import uvicorn

from assistant.errors import GauntletError, RecordError, RefusedError, StorageError, UsageError
from assistant.record.beside.attached import opening_names
from assistant.record.reader import read_record
from assistant.record.signing.checking import standing_signatures
from assistant.record.signing.signatures import withdraw_signature
from assistant.record.verify import verify
from assistant.review.deciding.decisions import ACCEPTED, REJECTED
from assistant.review.deciding.signing import Wish, sign
from assistant.review.register.index import Index
from assistant.review.serving import patience
from assistant.review.serving.app import create_app
from assistant.review.serving.desk import Desk
from assistant.review.serving.patience import PatientProtocol
from assistant.review.serving.server import listen, serve
from tests.bench.review.stage import PASSPHRASE, SUPERVISOR
from tests.record.support import WALL, whole_session
from tests.review.conftest import Browser
from tests.review.test_signing import FORM, calm_session, path_of

# --- two at one moment ---


def test_two_decisions_at_one_moment_leave_one_signature(desk: Desk) -> None:
    """Both had looked while nothing was signed, so both were allowed; the lock asks again."""
    folder = calm_session(desk)
    opened = desk.open(folder.parent.name, folder.name)
    account = desk.accounts.find(SUPERVISOR)
    assert account is not None
    allowed = [c for c in _allowed(desk, opened, account) if not c.why_not]
    ready = threading.Barrier(2)

    def decide(wish: Wish) -> str:
        ready.wait(20)
        try:
            sign(folder, opened, desk.rules, desk.accounts, account, PASSPHRASE, wish, wall=WALL, allowed=allowed)
        except GauntletError as error:
            return error.what
        return "signed"

    with ThreadPoolExecutor(2) as pool:
        said = list(pool.map(decide, (Wish(ACCEPTED, "Looked."), Wish(REJECTED, "Looked.", "Clean again."))))
    assert said.count("signed") == 1, said
    assert len(standing_signatures(read_record(folder))) == 1


def _allowed(desk: Desk, opened: object, account: object) -> list:
    from assistant.review.deciding.signing import choices

    return choices(opened, desk.rules, account)


def test_four_clicks_on_one_form_give_one_signature(desk: Desk) -> None:
    folder = calm_session(desk)
    opened = desk.open(folder.parent.name, folder.name)
    account = desk.accounts.find(SUPERVISOR)
    allowed = _allowed(desk, opened, account)
    wish = Wish(ACCEPTED, "Looked.")
    sign(folder, opened, desk.rules, desk.accounts, account, PASSPHRASE, wish, wall=WALL, allowed=allowed)
    for _ in range(3):
        with pytest.raises(RefusedError, match="has decided on this clean meanwhile"):
            sign(folder, opened, desk.rules, desk.accounts, account, PASSPHRASE, wish, wall=WALL, allowed=allowed)
    assert len(standing_signatures(read_record(folder))) == 1


def test_a_signature_cant_be_withdrawn_twice(desk: Desk) -> None:
    folder = calm_session(desk)
    opened = desk.open(folder.parent.name, folder.name)
    account = desk.accounts.find(SUPERVISOR)
    line = sign(folder, opened, desk.rules, desk.accounts, account, PASSPHRASE, Wish(ACCEPTED, "Looked."), wall=WALL)
    key = desk.accounts.keys.unlock(SUPERVISOR, PASSPHRASE)
    withdraw_signature(folder, key, line=line.seq, reason="Wrong one.", wall=WALL)
    with pytest.raises(RecordError, match="no signature that stands"):
        withdraw_signature(folder, key, line=line.seq, reason="Wrong one.", wall=WALL)


# --- one person's tries never stop another ---


def test_wrong_tries_at_the_door_in_somebodys_name_never_stop_their_signing(desk: Desk, client: Browser) -> None:
    client.sign_in()
    attacker = Browser(create_app(desk), base_url="http://localhost", headers={"accept": "text/html"})
    for _ in range(40):
        attacker.sign_in(SUPERVISOR, "wrong words")
    assert attacker.sign_in(SUPERVISOR, "wrong words").status_code == 429
    assert client.submit(f"{path_of(calm_session(desk))}/sign", FORM).status_code == 303


def test_wrong_passphrases_in_a_stolen_sign_in_are_still_made_to_wait(desk: Desk, client: Browser) -> None:
    folder = calm_session(desk)
    client.sign_in()
    for _ in range(desk.by_name.most):
        client.submit(f"{path_of(folder)}/sign", {**FORM, "passphrase": "wrong words"})
    answer = client.submit(f"{path_of(folder)}/sign", FORM)
    assert answer.status_code == 403 and "Too many tries" in answer.text


@pytest.mark.parametrize("origin", ["http://[", "http://[::", "//", "http://localhost:99999999999", "\x7f"])
def test_an_origin_that_is_no_address_is_refused_and_breaks_nothing(client: Browser, origin: str) -> None:
    answer = client.post("/sign-in", data={"csrf": "x", "name": "a", "passphrase": "b"}, headers={"origin": origin})
    assert answer.status_code == 403


# --- connections that ask for nothing ---


@pytest.fixture
def served(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    """The pages behind a real socket, by the protocol that `serve` uses."""
    monkeypatch.setattr(patience, "MOST_WAITING", 20)
    listener = listen("127.0.0.1", 0)
    server = uvicorn.Server(uvicorn.Config(create_app(desk), http=PatientProtocol, log_level="error", ws="none"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()
    yield listener.getsockname()[1]
    server.should_exit = True
    thread.join(20)


def test_many_half_open_connections_shut_nobody_out(served: int) -> None:
    held = []
    for _ in range(200):
        connection = socket.create_connection(("127.0.0.1", served), 10)
        connection.sendall(b"GET / HTTP/1.1\r\nHost: localhost\r\n")  # and never the empty line
        held.append(connection)
    with socket.create_connection(("127.0.0.1", served), 10) as person:
        person.settimeout(20)
        person.sendall(b"GET /sign-in HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n")
        assert person.recv(64).startswith(b"HTTP/1.1 200")
    for connection in held:
        connection.close()


def test_a_connection_that_asks_for_nothing_is_closed(served: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(patience, "REQUEST_WITHIN_S", 0.05)
    with socket.create_connection(("127.0.0.1", served), 10) as idle:
        idle.settimeout(20)
        try:
            assert idle.recv(10) == b""
        except ConnectionResetError:
            pass


# --- starting ---


def test_a_taken_port_is_told_before_anything_is_said_of_serving() -> None:
    first = listen("127.0.0.1", 0)
    with pytest.raises(StorageError, match="can't be used"):
        listen("127.0.0.1", first.getsockname()[1])
    first.close()


def test_a_certificate_that_is_none_is_a_sentence(desk: Desk, tmp_path: Path) -> None:
    bad = tmp_path / "bad.pem"
    bad.write_text("no certificate")
    with pytest.raises(UsageError, match="can't be used"):
        serve(desk, listen("127.0.0.1", 0), certificate=bad, key=bad)


def test_several_starts_at_once_make_one_index_in_a_fresh_home(tmp_path: Path) -> None:
    file = tmp_path / "home" / "register.sqlite"
    with ThreadPoolExecutor(6) as pool:
        made = list(pool.map(lambda _: Index(tmp_path, file), range(6)))
    assert all(index.refresh() == 0 for index in made)


def test_an_index_that_somebody_holds_is_waited_for_or_told_but_never_thrown_away(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
) -> None:
    file = tmp_path / "register.sqlite"
    Index(tmp_path, file).engine.dispose()
    before = file.stat().st_ino
    monkeypatch.setattr("assistant.review.register.index.WAIT_S", 0.1)
    holder = sqlite3.connect(file, isolation_level=None)
    holder.execute("UPDATE meta SET value = '0'")  # of an older version, so that it must be made anew
    holder.execute("BEGIN EXCLUSIVE")
    with pytest.raises(StorageError, match="can't be used now"):
        Index(tmp_path, file)
    holder.execute("ROLLBACK")
    assert file.stat().st_ino == before
    holder.close()


def test_a_file_that_is_no_index_is_made_anew(tmp_path: Path) -> None:
    file = tmp_path / "register.sqlite"
    file.write_bytes(b"not a database at all" * 100)
    assert Index(tmp_path, file).refresh() == 0


# --- what lies beside a record ---


@pytest.mark.parametrize("name", [".DS_Store", "Thumbs.db", ".gb-2.yaml.4711.part", "agents/.a.yaml.12.part", "notes.txt~"])
def test_a_stray_file_that_nothing_reads_leaves_a_finished_clean_standing(tmp_path: Path, name: str) -> None:
    folder = whole_session(tmp_path)
    assert verify(folder).complete and opening_names(read_record(folder).lines[0].data)
    (folder / "site" / name).write_bytes(b"left by a desktop, or by a copy that was cut off")
    assert verify(folder).complete


@pytest.mark.parametrize("name", ["extra.yaml", "agents/b.yml", "extra.json", "Extra.YAML"])
def test_a_file_that_would_be_read_as_the_sites_own_is_still_found(tmp_path: Path, name: str) -> None:
    folder = whole_session(tmp_path)
    (folder / "site" / name).write_bytes(b"a: 2\n")
    assert any("isn't a file that the record names" in problem for problem in verify(folder).problems)
