"""A witness at the board reaches a running session, once, and only with a key the site knows."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

from assistant.record.signing.keys import KeyStore, PublicKey, UnlockedKey
from assistant.review.deciding.inbox import leave_statement, read_statements
from assistant.session import inputs
from assistant.station.live.board import board

WALL = "2026-01-05T09:00:00+00:00"


class _Clock:
    ms = 0

    def now_ms(self) -> int:
        self.ms += 1000
        return self.ms


def _key(store: KeyStore, name: str):
    store.create_key(name, "a long enough passphrase", role="supervisor", since=WALL)
    return store.unlock(name, "a long enough passphrase")


def test_a_known_witness_is_heard_once_and_only_about_the_step_at_hand(tmp_path: Path) -> None:
    folder = tmp_path / "gb-2" / "one"
    folder.mkdir(parents=True)
    store = KeyStore(tmp_path / "keys")
    key = _key(store, "Wanda Witness")
    state = SimpleNamespace(mode="witness", current="look")
    take = board(folder, lambda: state, _Clock(), tmp_path / "keys")
    assert take() is None
    leave_statement(folder, key, session="gb-2/one", step="another", statement="I saw it.", wall=WALL)
    assert take() is None
    leave_statement(folder, key, session="gb-2/one", step="look", statement="I saw it.", wall=WALL)
    assert take() == inputs.Witness("Wanda Witness", "I saw it.")
    assert take() is None


def test_a_key_the_site_does_not_know_is_nobody(tmp_path: Path) -> None:
    folder = tmp_path / "gb-2" / "one"
    folder.mkdir(parents=True)
    stranger = _key(KeyStore(tmp_path / "elsewhere"), "Stranger")
    KeyStore(tmp_path / "keys")
    leave_statement(folder, stranger, session="gb-2/one", step="look", statement="I saw it.", wall=WALL)
    state = SimpleNamespace(mode="witness", current="look")
    assert board(folder, lambda: state, _Clock(), tmp_path / "keys")() is None


def test_a_statement_under_the_id_of_another_key_is_left_out_though_a_registry_lists_it(tmp_path: Path) -> None:
    folder = tmp_path / "gb-2" / "one"
    folder.mkdir(parents=True)
    key = _key(KeyStore(tmp_path / "keys"), "Wanda Witness")
    entry: PublicKey = replace(key.entry, key_id="0" * len(key.key_id))
    posed = UnlockedKey(entry, key._private)
    leave_statement(folder, key, session="gb-2/one", step="look", statement="I saw it.", wall=WALL)
    leave_statement(folder, posed, session="gb-2/one", step="look", statement="I saw it.", wall=WALL)
    known = {key.key_id: key.entry.public_key, entry.key_id: entry.public_key}
    assert [s.key_id for s in read_statements(folder, known, "gb-2/one")] == [key.key_id]
